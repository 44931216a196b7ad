/** How long a rule waits by its own words before it says anything: its on-delay, and what it says itself it takes to be sure (`surelyAfterMs` of its kind). */
import { MINUTE } from '../../src/domain/duration.ts';
import type { Rule } from '../../src/rules/contract.ts';

/** Of kinds that do not say so themselves: the setting that does. */
const patience: Readonly<Record<string, string>> = {
  'heater-not-heating': 'lag',
  'heater-stuck-on': 'lag',
  'pump-draw-shifted': 'suddenFor',
  'top-off-stuck-on': 'maxRun',
  'heater-chiller-fighting': 'window',
};

/** What a kind waits where that setting is left to it. */
const byItself: Readonly<Record<string, number>> = { 'heater-stuck-on': 10 * MINUTE };

/** @param onDelayMs as stamped on the alarm. @param state of the rule as it stood when the alarm opened; `undefined`: not kept. */
export function ownDelayMs({ kind, settings, roles }: Rule, onDelayMs: number, state: unknown): number {
  if (kind.surelyAfterMs !== undefined) return onDelayMs + kind.surelyAfterMs(settings, { points: roles, state: state ?? kind.initial });
  if (kind.kind === 'silent-gateway') return onDelayMs + Math.max(0, ...[...roles.values()].map(({ silentAfterMs }) => silentAfterMs));
  const key = patience[kind.kind];
  const set: unknown = key === undefined || typeof settings !== 'object' || settings === null ? null : Reflect.get(settings, key);
  return onDelayMs + (typeof set === 'number' ? set : (byItself[kind.kind] ?? 0));
}
