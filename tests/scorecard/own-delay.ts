/** How long a rule waits by its own words before it says anything: its on-delay, and what its settings call the time it takes to be sure. */
import { HOUR, MINUTE } from '../../src/domain/duration.ts';
import type { Rule } from '../../src/rules/contract.ts';

/** The setting that says so. */
const patience: Readonly<Record<string, string>> = {
  'chiller-not-cooling': 'after',
  'heater-at-limit': 'after',
  'heater-not-heating': 'lag',
  'heater-stuck-on': 'lag',
  'pump-draw-shifted': 'suddenFor',
  'top-off-stuck-on': 'maxRun',
  'heater-chiller-fighting': 'window',
};

/** What a kind waits where that setting is left to it. */
const byItself: Readonly<Record<string, number>> = { 'heater-stuck-on': 10 * MINUTE };
/** Speaks of what happened within so long. */
const lookBack: Readonly<Record<string, number>> = { 'chiller-short-cycling': HOUR };

/** @param onDelayMs as stamped on the alarm. */
export function ownDelayMs({ kind: { kind }, settings, roles }: Rule, onDelayMs: number): number {
  if (kind === 'silent-point' || kind === 'silent-gateway') return onDelayMs + Math.max(0, ...[...roles.values()].map(({ silentAfterMs }) => silentAfterMs));
  const key = patience[kind];
  const set: unknown = key === undefined || typeof settings !== 'object' || settings === null ? null : Reflect.get(settings, key);
  return onDelayMs + (typeof set === 'number' ? set : (byItself[kind] ?? 0)) + (lookBack[kind] ?? 0);
}
