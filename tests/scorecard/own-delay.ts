/** How long a rule waits by its own words before it says anything: its on-delay, and what it says itself it takes to be sure (`surelyAfterMs` of its kind). */
import type { Rule } from '../../src/rules/contract.ts';

/** @param onDelayMs as stamped on the alarm. @param state of the rule as it stood when the alarm opened; `undefined`: not kept. */
export function ownDelayMs({ kind, settings, roles }: Rule, onDelayMs: number, state: unknown): number {
  return onDelayMs + (kind.surelyAfterMs?.(settings, { points: roles, state: state ?? kind.initial }) ?? 0);
}
