/**
 * A supply voltage outside of what equipment is made for.
 *
 * Problem: at low voltage heaters are weak (power goes with its square) and motors run hot or do not start; at high voltage both burn out. A loose neutral, which
 * shows as a voltage that swings both ways, sets fire to things.
 * Method: outside of the band of the nominal voltage, back one percent inside. The nominal voltage is the setting, or else told from the first reading that shows a supply (120 V
 * below 170 V, 230 V above). Below half of it there is no supply, and `site-power-lost` speaks instead.
 *
 * Bands: 120 V: 104–127 V (ANSI C84.1 range B, utilisation; from memory). 230 V: 207–253 V (EN 50160, ± 10 %; from memory). Other nominal voltages: ± 10 %.
 * High, on-delay 5 min: starting compressors and the evening's cooking pull it down for moments.
 */
import { z } from 'zod';
import { MINUTE, showDuration } from '../../domain/duration.ts';
import type { Point } from '../../domain/fleet.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { beforeReachingIn, electricalWork } from '../cautions.ts';
import { defineRule, type Latest, type Proposal, type RuleContext } from '../contract.ts';
import { between, quietWithin } from '../quiet.ts';
import { pointById } from '../subject.ts';
import { LEAST_SUPPLY_VOLTS, NO_SUPPLY_SHARE, nominalVoltsOf } from '../supply.ts';
import { unknown, whyNotCurrent } from '../unknown.ts';

const settings = z.strictObject({
  nominal: z.number().min(90).max(300).nullable().default(null).describe('Nominal voltage in V; null: 120 or 230, whichever the reading is nearer to.'),
  low: z.number().min(50).max(300).nullable().default(null).describe('Lowest voltage allowed in V; null: 104 at 120 V, otherwise 10 % under the nominal one.'),
  high: z.number().min(50).max(400).nullable().default(null).describe('Highest voltage allowed in V; null: 127 at 120 V, otherwise 10 % over the nominal one.'),
});
type Settings = z.infer<typeof settings>;

const state = z.strictObject({
  /** Told from the first reading that shows a supply. */
  nominal: z.number().nullable(),
  side: z.enum(['low', 'high']).nullable(),
  sinceMs: z.number().nullable(),
  worst: z.number().nullable(),
});
type State = z.infer<typeof state>;

const inside = { side: null, sinceMs: null, worst: null } as const;

export default defineRule<Settings, State>({
  kind: 'voltage-out-of-range',
  watchesFor: 'A supply voltage that is too low or too high.',
  settings,
  state,
  initial: { nominal: null, ...inside },
  policy: { priority: 'high', onDelayMs: 5 * MINUTE, offDelayMs: 15 * MINUTE },

  apply: (facts) => facts.points.filter(({ kind }) => kind === 'voltage').map(proposalFor),

  applyTo(facts, subject) {
    const point = pointById(facts, subject);
    return point?.kind === 'voltage' ? proposalFor(point) : `“${subject}” is no point of kind: voltage; write the id of one`;
  },

  objection({ low, high }) {
    return low !== null && high !== null && low >= high ? { key: 'low', message: `low (${low}) must be below high (${high})` } : null;
  },

  step(before, _input, context) {
    const volts = context.current('volts');
    if (volts === null) return { state: before, verdict: unknown(whyNotCurrent(context, 'volts')) };
    const from = before.nominal === null && volts.value >= LEAST_SUPPLY_VOLTS ? { ...before, nominal: nominalVoltsOf(volts.value) } : before;
    const nominal = context.settings.nominal ?? from.nominal;
    if (nominal === null) return { state: from, verdict: unknown('no supply has been seen yet, so that its nominal voltage is not known; enter it (nominal: 120)') };
    if (volts.value < NO_SUPPLY_SHARE * nominal) return { state: back(from), verdict: clear };
    const band = bandOf(nominal, context.settings);
    const deadband = 0.01 * nominal;
    const side = volts.value < band.low + (from.side === 'low' ? deadband : 0) ? 'low' : volts.value > band.high - (from.side === 'high' ? deadband : 0) ? 'high' : null;
    if (side === null) return { state: back(from), verdict: clear, quiet: from.nominal === null ? undefined : quietWithin({ volts: between(volts.value, NO_SUPPLY_SHARE * nominal, band.low, band.high) }) };
    const state = follow(from, side, volts);
    return { state, verdict: breached(state, side, band, volts, context) };
  },

  firstChecks(advice) {
    return [
      'Ask the site whether lamps flicker or are unusually bright or dim, and whether other equipment misbehaves: then the building is concerned, not the tank.',
      'Swinging both ways with load may be a loose neutral: have an electrician or the utility look today; it can burn equipment and start fires.',
      beforeReachingIn(advice),
      'See what hangs on the same strip or extension lead: overloaded or long thin leads lose voltage and get warm.',
      'While it lasts, watch the temperature: heaters give less (at 10 % too little voltage, 19 % less power), chillers may not start.',
      electricalWork,
    ];
  },
});

const proposalFor = (point: Point): Proposal => ({ subject: point.id, title: `${point.name} out of range`, roles: { volts: point.id }, equipment: null, missing: null, defaults: {} });

const back = (before: State): State => (before.side === null ? before : { ...before, ...inside });

interface Band {
  readonly low: number;
  readonly high: number;
}

function bandOf(nominal: number, { low, high }: Settings): Band {
  const usual = nominal === 120 ? { low: 104, high: 127 } : { low: 0.9 * nominal, high: 1.1 * nominal };
  return { low: low ?? usual.low, high: high ?? usual.high };
}

function follow(before: State, side: 'low' | 'high', { atMs, value }: Latest): State {
  if (before.side !== side) return { ...before, side, sinceMs: atMs, worst: value };
  const isWorse = before.worst === null || (side === 'low' ? value < before.worst : value > before.worst);
  // By whole volts, so that a wandering voltage is not written with every reading.
  return isWorse && (before.worst === null || Math.abs(value - before.worst) >= 1) ? { ...before, worst: value } : before;
}

function breached({ sinceMs, worst }: State, side: 'low' | 'high', band: Band, volts: Latest, context: RuleContext<Settings>): Verdict {
  const since = sinceMs ?? volts.atMs;
  const limit = side === 'low' ? band.low : band.high;
  const evidence: Evidence[] = [
    { label: 'Supply', value: volts.value, kind: 'voltage', atMs: volts.atMs },
    { label: side === 'low' ? 'Lowest allowed' : 'Highest allowed', value: limit, kind: 'voltage' },
  ];
  if (worst !== null) evidence.push({ label: 'Worst so far, about', value: worst, kind: 'voltage' });
  evidence.push({ label: 'For', value: showDuration(Math.max(0, context.nowMs - since)), atMs: since });
  return { state: 'breached', summary: `the supply is at ${volts.value.toFixed(1)} V, ${side === 'low' ? 'lowest' : 'highest'} allowed ${limit.toFixed(0)} V`, evidence };
}
