/**
 * A value outside of its limits.
 *
 * Problem: the plainest question there is, and the one livestock depends on: is the water too warm, too cold, too salt, too low?
 * Method: two-sided, either side may be left out. Breached beyond a limit; back only when the value has come inside by the deadband, so that a
 * value that hovers at the limit rings once. On- and off-delay are the alarm's business.
 *
 * By itself it watches the temperature of every tank's water, at limits where livestock is at risk (`water.ts`). A big body of water is slow: even a
 * heater of 1.3 W/L moves it by no more than about 1.3 K in an hour, or 0.2 K in ten minutes. Ten minutes of on-delay thus cost nothing, and
 * keep a probe lifted out for a wipe, or a bucket of cold water next to it, from paging anybody.
 *
 * Sources: deadbands in percent of the span: flow 5, level 2, temperature and composition 1 (EEMUA 191, as quoted in a consultancy article on
 * alarm deadbands; level is 5 in another list, from memory). Water temperature takes 0.2 K: 1 % of a span of 7 K would be less than the noise
 * and resolution of common probes. Other kinds: 2 %, our own choice. Limits of temperature: common practice.
 */
import { z } from 'zod';
import { HOUR, MINUTE, showDuration } from '../../domain/duration.ts';
import type { Point } from '../../domain/fleet.ts';
import { type Kind, kinds } from '../../domain/kinds.ts';
import { show } from '../../domain/units.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { beforeReachingIn, electricalWork, husbandry, slowCorrection } from '../cautions.ts';
import { defineRule, type Latest, type Proposal, type RuleContext, type TankFacts } from '../contract.ts';
import { between, quietWithin } from '../quiet.ts';
import { pointById } from '../subject.ts';
import { unknown, whyNotCurrent } from '../unknown.ts';
import { hardLimitsC, waterTemperaturePoint } from '../water.ts';

const settings = z.strictObject({
  low: z.number().nullable().default(null).describe('Lowest value allowed, in the canonical unit of the point (°C, mm, %, L, mS/cm, W …); null: no lower limit.'),
  high: z.number().nullable().default(null).describe('Highest value allowed, in the canonical unit of the point; null: no upper limit.'),
  deadband: z.number().min(0).nullable().default(null)
    .describe('How far a value must come back inside before it counts as back; null: 0.2 K for temperature, otherwise 1 to 5 % of the span by kind.'),
});
type Settings = z.infer<typeof settings>;

const state = z.strictObject({
  /** The side on which the value is outside; stays while the value is within the deadband. */
  side: z.enum(['low', 'high']).nullable(),
  sinceMs: z.number().nullable(),
  worst: z.number().nullable(),
});
type State = z.infer<typeof state>;

const inside: State = { side: null, sinceMs: null, worst: null };

export default defineRule<Settings, State>({
  kind: 'limit',
  watchesFor: 'A value above or below its limits.',
  settings,
  state,
  initial: inside,
  policy: { priority: 'high', onDelayMs: MINUTE, offDelayMs: 5 * MINUTE },

  apply(facts) {
    const point = waterTemperaturePoint(facts);
    const defaults = hardLimitsC[facts.tank.water];
    const policy = { priority: 'urgent', onDelayMs: 10 * MINUTE } as const;
    if (point !== null) return [{ ...proposalFor(point), defaults, policy }];
    const missing = 'no temperature point in the display or the sump';
    return [{ subject: `${facts.tank.id}/display-temperature`, title: 'Display temperature out of limits', roles: {}, equipment: null, missing, defaults, policy }];
  },

  applyTo(facts, subject) {
    const point = pointById(facts, subject);
    return point === null ? `limits are for points, and “${subject}” is equipment; write the id of the point that measures it` : proposalFor(point);
  },

  objection({ low, high, deadband }, proposal, facts) {
    const point = valuePointOf(proposal, facts);
    if (low === null && high === null) return { key: 'low', message: 'neither low nor high is set; write low, high or both' };
    if (low !== null && high !== null && low >= high) return { key: 'low', message: `low (${low}) must be below high (${high})` };
    if (low !== null && high !== null && deadband !== null && deadband >= high - low) {
      return { key: 'deadband', message: `the deadband (${deadband}) leaves nothing between low (${low}) and high (${high}); write less than ${high - low}` };
    }
    if (point === null) return null;
    return impossible('low', low, point.kind) ?? impossible('high', high, point.kind);
  },

  step(before, _input, context) {
    const value = context.current('value');
    if (value === null) return { state: before, verdict: unknown(whyNotCurrent(context, 'value')) };
    const next = follow(before, value, context);
    if (next.side !== null) return { state: next, verdict: breached(next, value, context) };
    const { low, high } = context.settings;
    return { state: next, verdict: clear, quiet: quietWithin({ value: between(value.value, low ?? Number.NaN, high ?? Number.NaN) }) };
  },

  firstChecks(advice) {
    return [
      'Compare with an independent instrument (a thermometer for temperature) before changing anything: a probe out of the water, fouled or broken reads wrong.',
      beforeReachingIn(advice),
      'Too warm: heater stuck on, chiller or fan off, lids closed, hot room. Too cold: heater off or tripped, cold water added, cold room. Other values: what was changed last?',
      slowCorrection,
      electricalWork,
      husbandry,
    ];
  },
});

function proposalFor(point: Point): Proposal {
  return { subject: point.id, title: `${point.name} out of limits`, roles: { value: point.id }, equipment: null, missing: null, defaults: {}, ...(point.kind === 'temperature' ? { policy: { onDelayMs: 10 * MINUTE } } : {}) };
}

const valuePointOf = (proposal: Proposal, facts: TankFacts): Point | null => pointById(facts, proposal.roles['value'] ?? '');

function impossible(key: 'low' | 'high', value: number | null, kind: Kind): { key: string; message: string } | null {
  const { unit, range } = kinds[kind];
  if (value === null || (value >= range[0] && value <= range[1])) return null;
  return { key, message: `${key} ${value} ${unit} is outside of what a ${kinds[kind].name} can be (${range[0]} to ${range[1]} ${unit}); limits are written in ${unit}` };
}

function follow(before: State, latest: Latest, context: RuleContext<Settings>): State {
  const side = sideOf(before.side, latest.value, context);
  if (side === null) return before.side === null ? before : inside;
  if (side !== before.side) return { side, sinceMs: latest.atMs, worst: latest.value };
  const isWorse = before.worst === null || (side === 'high' ? latest.value > before.worst : latest.value < before.worst);
  return isWorse ? { ...before, worst: latest.value } : before;
}

function sideOf(was: State['side'], value: number, context: RuleContext<Settings>): State['side'] {
  const { low, high } = context.settings;
  if (high !== null && value > high) return 'high';
  if (low !== null && value < low) return 'low';
  if (was === null) return null;
  const deadband = deadbandOf(context.settings, context.point('value'));
  if (was === 'high' && high !== null && value > high - deadband) return 'high';
  if (was === 'low' && low !== null && value < low + deadband) return 'low';
  return null;
}

const deadbandShare: Partial<Record<Kind, number>> = { flow: 0.05, level: 0.02, fill: 0.02, volume: 0.02, conductivity: 0.01, acidity: 0.01 };

function deadbandOf({ low, high, deadband }: Settings, point: Point | null): number {
  if (deadband !== null) return deadband;
  if (point === null || point.kind === 'temperature') return 0.2;
  const span = low !== null && high !== null ? high - low : Math.abs(high ?? low ?? Number.NaN);
  return (deadbandShare[point.kind] ?? 0.02) * span;
}

function breached({ side, sinceMs, worst }: State, latest: Latest, context: RuleContext<Settings>): Verdict {
  const kind = context.point('value')?.kind ?? 'temperature';
  const limit = side === 'high' ? context.settings.high : context.settings.low;
  const since = sinceMs ?? latest.atMs;
  const heldMs = context.nowMs - since;
  const held = heldMs >= MINUTE ? ` for ${showDuration(heldMs < HOUR ? heldMs - (heldMs % MINUTE) : heldMs)}` : '';
  const evidence: Evidence[] = [{ label: 'Value', value: latest.value, kind, atMs: latest.atMs }];
  if (limit !== null) evidence.push({ label: side === 'high' ? 'Upper limit' : 'Lower limit', value: limit, kind });
  if (worst !== null) evidence.push({ label: 'Worst so far', value: worst, kind });
  evidence.push({ label: 'Outside since', value: showDuration(Math.max(0, heldMs)), atMs: since });
  // Inside again by less than the deadband: the number alone would look like a mistake.
  const isBack = limit !== null && (side === 'high' ? latest.value <= limit : latest.value >= limit);
  const now = isBack && worst !== null ? `${show(kind, latest.value)} after ${show(kind, worst)}, not yet clear of the ${side === 'high' ? 'upper' : 'lower'} limit` : `${show(kind, latest.value)}${held}, ${side === 'high' ? 'upper' : 'lower'} limit`;
  return { state: 'breached', summary: `${now} ${show(kind, limit)}`, evidence, ...(side === null ? {} : { side }) };
}
