/** An open alarm with the numbers of now: what it opened with may be hours old. */
import { type Alarm, isOpen } from '../domain/alarm.ts';
import type { LiveView } from '../engine/contract.ts';

export function withPresentNumbers(alarm: Alarm, view: Pick<LiveView, 'verdict'>): Alarm {
  if (!isOpen(alarm)) return alarm;
  const verdict = view.verdict(alarm.ruleId);
  return verdict?.state === 'breached' ? { ...alarm, summary: verdict.summary, evidence: verdict.evidence } : alarm;
}
