/** Alarms as they are shown: what is suppressed stands under the alarm that people are rung for. */
import { type Alarm, isBehindCause } from '../domain/alarm.ts';
import { explainedBy, rootOf } from '../domain/explained.ts';
import type { LiveView } from '../engine/contract.ts';
import type { HistoryReader } from '../store/contract.ts';
import { withPresentNumbers } from './live-alarm.ts';

export interface CauseTree {
  readonly alarm: Alarm;
  /** Of the alarms asked for, those that are suppressed behind it. */
  readonly explained: readonly Alarm[];
}

/** @param alarms open ones, of one tank perhaps; a root that is not among them (the mains of the site, told at another tank) is taken in. In no order. */
export function causeTrees(alarms: readonly Alarm[], view: Pick<LiveView, 'openAlarms' | 'verdict'>): readonly CauseTree[] {
  const explained = new Map<number, Alarm[]>();
  const roots = new Map<number, Alarm>();
  for (const alarm of alarms) {
    const root = rootOf(alarm, (id) => view.openAlarms.get(id) ?? null);
    roots.set(root.id, root);
    if (root !== alarm && isBehindCause(alarm)) explained.set(root.id, [...(explained.get(root.id) ?? []), withPresentNumbers(alarm, view)]);
  }
  return [...roots.values()].map((root) => ({ alarm: withPresentNumbers(root, view), explained: (explained.get(root.id) ?? []).sort((a, b) => a.beganMs - b.beganMs || a.id - b.id) }));
}

const MOST_LOOKED_AT = 500;

/** Everything an alarm explains or explained, at the whole site. */
export async function explainedOf(alarm: Alarm, store: Pick<HistoryReader, 'alarms'>, view: Pick<LiveView, 'openAlarms' | 'verdict'>): Promise<readonly Alarm[]> {
  const stored = await store.alarms({ siteId: alarm.siteId, fromMs: alarm.beganMs, ...(alarm.closedMs === null ? {} : { toMs: alarm.closedMs + 1 }), limit: MOST_LOOKED_AT });
  return explainedBy(alarm.id, stored.map((one) => view.openAlarms.get(one.id) ?? one)).map((one) => withPresentNumbers(one, view));
}
