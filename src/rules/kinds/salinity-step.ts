/**
 * Salinity that jumps.
 *
 * Problem: a water change mixed wrong, a bucket of fresh water, a top-off that has run on for an hour: within minutes the water is another, and livestock
 * feels it at once.
 *
 * Method. Practical salinity once an hour as a note, the median of the last three as the level. Breached when the reading has lain `step` or more to one side of it
 * for 25 min without pause: a probe in the air, a bubble, a cloud of fresh water that still mixes do not last so long. Over when it is back by 40 %, and in any case
 * after 24 h, when the new level is the level. The conductivity itself must have stepped: by 60 % of it at least when reckoned with the temperature of the hours before. A thermometer
 * that jumps by 2 K moves the salinity by 1.5 and the conductivity not at all (water that really cools moves the conductivity, and the salinity not at all).
 *
 * A slide over hours is no jump: the reading of the hour before must have gone little more than half of the way.
 *
 * What must not ring: a water change as it should be (10 % of water that is off by 1.5 moves it by 0.15), noise (0.1 %), evaporation (0.04 an hour at the
 * most), a probe lifted out for a few minutes. Without a temperature the threshold is 1.5 higher.
 * Sources: change of at most 1 a day, common practice; rapid change as harmful as a wrong value: Hadfield, "Water Quality", excerpt.
 */
import { z } from 'zod';
import { HOUR, MINUTE, showDuration } from '../../domain/duration.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { beforeReachingIn, electricalWork, husbandry } from '../cautions.ts';
import { defineRule, type Quiet, type RuleContext } from '../contract.ts';
import { median } from '../median.ts';
import { quietWithin } from '../quiet.ts';
import { checkTheProbe, compensation, nearby, psuAt, readSalinity, ROUGH_PSU, type Salinity, salinityEvidence, salinityProposals, showPsu, slowSalinity } from '../salinity.ts';
import { unknown } from '../unknown.ts';

const settings = z.strictObject({
  step: z.number().min(0.3).max(10).default(1).describe('Jump of practical salinity that rings. Default 1 (common practice bears that much in a day).'),
  compensation,
});
type Settings = z.infer<typeof settings>;

const NOTES_KEPT = 3;
const LASTS_MS = 25 * MINUTE;
const NEW_LEVEL_MS = 24 * HOUR;
const BACK = 0.6;
/** Of a slide, the last of three hourly notes has gone half of the way of the present reading from the middle one, or more. */
const SLIDE = 0.55;
/** A note older than this says nothing about a jump. */
const NOTE_COUNTS_MS = 6 * HOUR;

const state = z.strictObject({
  /** When, how salt and how warm (`null`: not measured), oldest first; none are taken while it is off the level. */
  notes: z.array(z.tuple([z.number(), z.number(), z.number().nullable()])).max(NOTES_KEPT),
  side: z.enum(['up', 'down']).nullable(),
  offSinceMs: z.number().nullable(),
  breached: z.boolean(),
});
type State = z.infer<typeof state>;

export default defineRule<Settings, State>({
  kind: 'salinity-step',
  watchesFor: 'Salinity that jumps.',
  settings,
  state,
  initial: { notes: [], side: null, offSinceMs: null, breached: false },
  policy: { priority: 'urgent', onDelayMs: 0, offDelayMs: 15 * MINUTE },

  apply: (facts) => salinityProposals(facts, 'jumped'),

  step(before, _input, context) {
    const salinity = readSalinity(context);
    if (!salinity.known) return { state: before.side === null || before.breached ? before : { ...before, side: null, offSinceMs: null }, verdict: unknown(salinity.why) };
    const from = fresh(before, salinity.atMs);
    const level = from.notes.length < NOTES_KEPT && !from.breached ? null : median(from.notes.map(([, psu]) => psu));
    const state = level === null ? note(from, salinity) : follow(from, salinity, level, context);
    const quiet = quietOf(state, salinity, level, context);
    if (level === null) return { state, verdict: unknown('needs three hours of readings'), quiet };
    return { state, verdict: state.breached ? breached(state, salinity, level, context) : clear, quiet };
  },

  surelyAfterMs: () => LASTS_MS,

  firstChecks(advice) {
    return [
      checkTheProbe,
      'Was water changed or added within the last hours? Measure what is left of it. Does the top-off pump run, or water siphon from the reservoir?',
      beforeReachingIn(advice),
      'Stop whatever adds water. Keep the water moving, and look at the livestock.',
      slowSalinity,
      electricalWork,
      husbandry,
    ];
  },
});

/** Until the next note, while it is on its level. */
function quietOf({ notes, side, breached: isBreached }: State, salinity: Known, level: number | null, context: RuleContext<Settings>): Quiet | undefined {
  const last = notes.at(-1);
  if (side !== null || isBreached || last === undefined) return undefined;
  const near = nearby(salinity, 0.01, 0.3, context);
  const middle = notes.length < NOTES_KEPT ? null : median(notes.map(([, psu]) => psu));
  const threshold = context.settings.step + (salinity.rough ? ROUGH_PSU : 0);
  // The note just taken may have moved the level.
  if (near === null || (level === null) !== (middle === null) || (middle !== null && Math.max(near.mostPsu - middle, middle - near.leastPsu) >= threshold)) return undefined;
  return quietWithin(near.within, last[0] + HOUR);
}

/** Notes from before a long silence do not count, unless it is ringing. */
function fresh(before: State, atMs: number): State {
  const last = before.notes.at(-1);
  return last === undefined || before.side !== null || atMs - last[0] <= NOTE_COUNTS_MS ? before : { notes: [], side: null, offSinceMs: null, breached: false };
}

type Known = Extract<Salinity, { readonly known: true }>;

function note(before: State, { psu, atMs, temperature }: Known): State {
  const last = before.notes.at(-1);
  if (last !== undefined && atMs - last[0] < HOUR) return before;
  return { ...before, notes: [...before.notes, [atMs, Math.round(psu * 100) / 100, temperature === null ? null : Math.round(temperature.value * 100) / 100] satisfies State['notes'][number]].slice(-NOTES_KEPT) };
}

function follow(before: State, salinity: Known, level: number, context: RuleContext<Settings>): State {
  const { step } = context.settings;
  const off = salinity.psu - level;
  const threshold = (step + (salinity.rough ? ROUGH_PSU : 0)) * (before.side === null ? 1 : BACK);
  const side: State['side'] = Math.abs(off) < threshold || (before.side === null && (isSlide(before, off, level) || !isOfConductivity(before, salinity, off, level, context))) ? null : off > 0 ? 'up' : 'down';
  if (side === null) return before.side === null ? note(before, salinity) : { ...before, side: null, offSinceMs: null, breached: false };
  if (side !== before.side) return { ...before, side, offSinceMs: salinity.atMs, breached: false };
  const offMs = salinity.atMs - (before.offSinceMs ?? salinity.atMs);
  if (offMs >= NEW_LEVEL_MS) return note({ notes: [], side: null, offSinceMs: null, breached: false }, salinity);
  return offMs >= LASTS_MS && !before.breached ? { ...before, breached: true } : before;
}

/** The hour before had gone a good part of the way: that is no jump, but too fast a change (`salinity-rate`), as of a leak that is made up with fresh water. */
function isSlide({ notes }: State, off: number, level: number): boolean {
  const newest = notes.at(-1)?.[1] ?? level;
  return (newest - level) * Math.sign(off) > SLIDE * Math.abs(off);
}

/** Does the conductivity say so at the temperature of before, too? */
function isOfConductivity({ notes }: State, { conductivity }: Known, off: number, level: number, context: RuleContext<Settings>): boolean {
  const before = median(notes.flatMap(([, , celsius]) => (celsius === null ? [] : [celsius])));
  const alone = before === null ? null : psuAt(conductivity, before, context);
  return alone === null || (alone - level) * Math.sign(off) >= BACK * Math.abs(off);
}

function breached({ side, offSinceMs }: State, salinity: Known, level: number, { settings: { step }, nowMs }: RuleContext<Settings>): Verdict {
  const by = Math.abs(salinity.psu - level);
  const since = offSinceMs ?? nowMs;
  const evidence: Evidence[] = [
    ...salinityEvidence(salinity, 'Salinity'),
    { label: 'Level of the hours before', value: showPsu(level) },
    { label: side === 'up' ? 'Risen by' : 'Fallen by', value: `${by.toFixed(1)} (rings from ${(step + (salinity.rough ? ROUGH_PSU : 0)).toFixed(1)})` },
    { label: 'Off since', value: showDuration(nowMs - since), atMs: since },
  ];
  return { state: 'breached', summary: `salinity has jumped ${side === 'up' ? 'up' : 'down'} by ${by.toFixed(1)}, from ${showPsu(level)} to ${showPsu(salinity.psu)}, and has stayed there for ${showDuration(nowMs - since)}`, evidence, side: side === 'up' ? 'high' : 'low' };
}
