/**
 * Water that warms or cools too fast, wherever its temperature lies.
 *
 * Problem: livestock bears a temperature that is a little off better than one that moves (common practice: more than 1 °C in an hour is worrying, more than
 * 2 °C dangerous), and a fast change tells of a fault long before a limit is reached.
 *
 * Method. The temperature is noted at most four times an hour, and otherwise once an hour while it stands still. Breached when the present reading lies
 * `perHour` or more to the same side of *every* note that is 45 min to 3 h old, of which there must be two: so a probe that was held out of the water,
 * or had a bucket poured over it, for a few minutes is no change, neither then nor an hour later when it is looked back at. Back at 60 % of that.
 *
 * What must not ring: a probe wiped (on-delay 15 min); a heater bringing the water back after a water change (1.3 W/L, the upper end of common
 * practice, warm by 1.1 K in an hour loss-free); noise and coarse steps of a probe (sixteenths of a kelvin are a fraction of it); readings from before a silence (the notes
 * start again). What it cannot tell: a probe that stays out of the water. The first check says so.
 */
import { z } from 'zod';
import { MINUTE, showDuration } from '../../domain/duration.ts';
import { show } from '../../domain/units.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { beforeReachingIn, electricalWork, husbandry, slowCorrection } from '../cautions.ts';
import { defineRule, type Latest, type Quiet, type RuleContext } from '../contract.ts';
import { between } from '../quiet.ts';
import { cameBackFromSilence } from '../step.ts';
import { unknown, whyNotCurrent } from '../unknown.ts';
import { waterProposal } from '../water.ts';

const settings = z.strictObject({
  perHour: z.number().min(0.5).max(10).default(1.5).describe('Change in kelvin within an hour that is too fast, up or down. Default 1.5; more than 1 is worrying, more than 2 dangerous (common practice).'),
});
type Settings = z.infer<typeof settings>;

const NOTES_KEPT = 13;
const NOTE_EVERY_MS = 15 * MINUTE;
const NOTE_AT_LATEST_MS = 60 * MINUTE;
const NOTE_K = 0.1;
const LOOK_BACK_FROM_MS = 45 * MINUTE;
const LOOK_BACK_TO_MS = 180 * MINUTE;
const BACK = 0.6;

const state = z.strictObject({
  /** When and how warm, oldest first. */
  notes: z.array(z.tuple([z.number(), z.number()])).max(NOTES_KEPT),
  side: z.enum(['warming', 'cooling']).nullable(),
  sinceMs: z.number().nullable(),
});
type State = z.infer<typeof state>;

export default defineRule<Settings, State>({
  kind: 'temperature-rate',
  watchesFor: 'Water that warms or cools too fast.',
  settings,
  state,
  initial: { notes: [], side: null, sinceMs: null },
  policy: { priority: 'high', onDelayMs: 15 * MINUTE, offDelayMs: 15 * MINUTE },

  apply: (facts) => [waterProposal(facts, 'changing too fast')],

  step(before, input, context) {
    const water = context.current('water');
    if (water === null) return { state: before, verdict: unknown(whyNotCurrent(context, 'water')) };
    const isFirst = input.type === 'reading' && cameBackFromSilence(context, 'water');
    const noted = note(before, water, isFirst);
    const change = leastChange(noted.notes, water);
    if (change === null) return { state: noted.side === null ? noted : { ...noted, side: null, sinceMs: null }, verdict: unknown('needs two hours of readings without a silence'), quiet: quietOf(noted.notes, water, null) };
    const side: State['side'] = Math.abs(change.kelvin) >= context.settings.perHour * (noted.side === null ? 1 : BACK) ? (change.kelvin > 0 ? 'warming' : 'cooling') : null;
    const state = side === noted.side ? noted : { ...noted, side, sinceMs: side === null ? null : water.atMs };
    return { state, verdict: side === null ? clear : breached(state, change, water, context), quiet: side === null ? quietOf(noted.notes, water, context.settings.perHour) : undefined };
  },

  firstChecks(advice) {
    return [
      'Is the probe in the water? Compare with an independent thermometer before changing anything: a probe that lies in the air reads the room.',
      'Was water changed or added in the last hour? Then wait and watch; do not correct one fast change with another.',
      beforeReachingIn(advice),
      'Cooling: heater off or tripped, chiller stuck on, cold water running in. Warming: heater stuck on, chiller or fan off, sun on the tank, a return pump that stands and keeps the heat in the sump.',
      slowCorrection,
      electricalWork,
      husbandry,
    ];
  },
});

function note(before: State, water: Latest, isFirst: boolean): State {
  const kept: [number, number] = [water.atMs, Math.round(water.value * 100) / 100];
  const last = before.notes.at(-1);
  if (last === undefined || isFirst) return last?.[0] === kept[0] ? before : { ...before, notes: [kept] };
  const ageMs = water.atMs - last[0];
  if (ageMs < NOTE_EVERY_MS || (ageMs < NOTE_AT_LATEST_MS && Math.abs(water.value - last[1]) < NOTE_K)) return before;
  return { ...before, notes: [...before.notes, kept].filter(([atMs]) => water.atMs - atMs <= LOOK_BACK_TO_MS).slice(-NOTES_KEPT) };
}

/** Until the next note, or until a note comes of age or is too old; while it lies near to one that is looked back at. @param perHour `null`: too few of them are. */
function quietOf(notes: State['notes'], { atMs, value }: Latest, perHour: number | null): Quiet | undefined {
  const last = notes.at(-1);
  if (last === undefined) return undefined;
  const marks: number[] = [];
  let untilMs = last[0] + NOTE_EVERY_MS;
  if (atMs >= untilMs) {
    untilMs = last[0] + NOTE_AT_LATEST_MS;
    marks.push(last[1] - NOTE_K, last[1] + NOTE_K);
  }
  let lookedAt: number | null = null;
  for (const [notedMs, celsius] of notes) {
    const ageMs = atMs - notedMs;
    // Too old already, or too old one millisecond after the end of the span.
    if (ageMs > LOOK_BACK_TO_MS) continue;
    untilMs = Math.min(untilMs, notedMs + (ageMs < LOOK_BACK_FROM_MS ? LOOK_BACK_FROM_MS : LOOK_BACK_TO_MS));
    if (ageMs >= LOOK_BACK_FROM_MS && (lookedAt === null || Math.abs(celsius - value) < Math.abs(lookedAt - value))) lookedAt = celsius;
  }
  if (perHour === null) return { untilMs, within: { water: between(value, ...marks) } };
  if (lookedAt === null || Math.abs(value - lookedAt) >= perHour) return undefined;
  return { untilMs, within: { water: between(value, ...marks, lookedAt - perHour, lookedAt + perHour) } };
}

interface Change {
  /** Signed; 0 where the notes do not agree on the side. */
  readonly kelvin: number;
  readonly fromMs: number;
  readonly fromC: number;
}

/** The smallest change against the notes of about an hour ago; `null`: fewer than two of them. */
function leastChange(notes: State['notes'], water: Latest): Change | null {
  let least: Change | null = null as Change | null;
  let count = 0;
  for (const [atMs, celsius] of notes) {
    const ageMs = water.atMs - atMs;
    if (ageMs < LOOK_BACK_FROM_MS || ageMs > LOOK_BACK_TO_MS) continue;
    count += 1;
    const kelvin = water.value - celsius;
    if (least !== null && least.kelvin * kelvin < 0) least = { ...least, kelvin: 0 };
    else if (least === null || Math.abs(kelvin) < Math.abs(least.kelvin)) least = { kelvin, fromMs: atMs, fromC: celsius };
  }
  return count < 2 ? null : least;
}

function breached({ side, sinceMs }: State, { kelvin, fromMs, fromC }: Change, water: Latest, { nowMs, settings: { perHour } }: RuleContext<Settings>): Verdict {
  const evidence: Evidence[] = [
    { label: 'Water', value: water.value, kind: 'temperature', atMs: water.atMs },
    { label: 'Before', value: fromC, kind: 'temperature', atMs: fromMs },
    { label: side === 'warming' ? 'Warmed by' : 'Cooled by', value: `${Math.abs(kelvin).toFixed(1)} K in ${showDuration(water.atMs - fromMs)}` },
    { label: 'Too fast from', value: `${perHour.toFixed(1)} K in an hour` },
    { label: 'Since', value: showDuration(nowMs - (sinceMs ?? nowMs)), atMs: sinceMs ?? nowMs },
  ];
  return { state: 'breached', summary: `the water has ${side === 'warming' ? 'warmed' : 'cooled'} by ${Math.abs(kelvin).toFixed(1)} K in ${showDuration(water.atMs - fromMs)}, from ${show('temperature', fromC)} to ${show('temperature', water.value)}; more than ${perHour.toFixed(1)} K in an hour is too fast`, evidence, side: side === 'warming' ? 'high' : 'low' };
}
