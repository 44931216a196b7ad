/**
 * Two sensors that should agree, and do not.
 *
 * Problem: a thermometer that drifts or jumps takes heaters, chillers and every rule with it, and by itself it looks sound. A second one in the same water tells.
 * Method: pairs of temperature, conductivity or pH points of one tank that are in the same water: at the same place, or display and sump, which the return pump mixes. Their difference, as the middle of five
 * samples ten minutes apart (two minutes, while they are off: then it takes six), against the difference that is usual for the pair (the median of its first three days: each probe has its own offset).
 * Breached when it lies off by more than `tolerance`, or, before anything is learnt, when the two differ by more than three times that. Back at two thirds. The on-delay is the time in which a probe that was
 * lifted out is back, and water that was poured in is mixed.
 * Not judged while the return pump stands and for half an hour after: display and sump are two bodies of water then. Evidence says which of the two has moved since they agreed.
 *
 * One that has jumped by more than the tolerance from one sample to the next, where the other in the same, mixed water has not moved by a quarter of it, is wrong: water does not do that. Then no other rule
 * believes it. Where both have moved, or one has crept, nobody knows which of the two is right, and both go on being believed: over days the
 * water moves by as much as a probe that ages, so that the one that seems to stay may be the one that drifts.
 *
 * Tolerances: 0.6 °C (digital thermometers are good to ± 0.5, good ones to ± 0.1–0.2; usual offsets are learnt away), 3 % of a conductivity (± 1–2 %), 0.3 pH: common practice.
 * High where the temperature of the water is concerned, low otherwise.
 */
import { z } from 'zod';
import { HOUR, MINUTE, showDuration } from '../../domain/duration.ts';
import type { Point } from '../../domain/fleet.ts';
import { type Kind, kinds } from '../../domain/kinds.ts';
import { show } from '../../domain/units.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { median } from '../../physics/statistics/median.ts';
import { beforeReachingIn, electricalWork } from '../cautions.ts';
import { defineRule, type Latest, type Proposal, type Quiet, type RuleContext, type TankFacts } from '../contract.ts';
import { telltales } from '../runs.ts';
import { returnPumpRuns, returnPumpsStay } from '../sump-level.ts';
import { unknown, whyNotCurrent } from '../unknown.ts';

const settings = z.strictObject({
  tolerance: z.number().positive().nullable().default(null).describe('By how much the difference may leave the usual one, in the unit of the points; null: 0.6 °C, 3 % of a conductivity, 0.3 pH.'),
});
type Settings = z.infer<typeof settings>;

const LEARNT = 48;

const state = z.strictObject({
  /** Of late: both values, ten minutes apart, two while they are off. */
  recent: z.array(z.tuple([z.number(), z.number()])).max(5),
  /** The one that has jumped while the other stayed. */
  jumped: z.enum(['one', 'other']).nullable(),
  sampledMs: z.number().nullable(),
  /** Differences of the first days, one an hour; then their middle stays. */
  learning: z.array(z.number()).max(LEARNT),
  learntMs: z.number().nullable(),
  usual: z.number().nullable(),
  /** Both values when they last agreed. */
  agreed: z.tuple([z.number(), z.number()]).nullable(),
  apartSinceMs: z.number().nullable(),
  stoodMs: z.number().nullable(),
});
type State = z.infer<typeof state>;

const SAMPLE_EVERY_MS = 10 * MINUTE;
const SAMPLE_OFF_EVERY_MS = 2 * MINUTE;
const SAMPLES = 5;
const LEARN_NEEDED = 12;
const MIX_MS = 30 * MINUTE;
const UNLEARNT = 3;
const BACK = 2 / 3;
/** Of a jump, the other may have moved by so much. */
const STAYED = 1 / 4;
const kindsCompared: readonly Kind[] = ['temperature', 'conductivity', 'acidity'];

export default defineRule<Settings, State>({
  kind: 'sensors-disagree',
  watchesFor: 'Two sensors in the same water that do not agree any more.',
  settings,
  state,
  initial: { recent: [], jumped: null, sampledMs: null, learning: [], learntMs: null, usual: null, agreed: null, apartSinceMs: null, stoodMs: null },
  policy: { priority: 'low', onDelayMs: 15 * MINUTE, offDelayMs: 12 * HOUR },

  apply: (facts) => kindsCompared.flatMap((kind) => pairsOf(facts, kind)),

  step(before, input, context) {
    const one = context.current('one');
    const other = context.current('other');
    if (one === null || other === null) return { state: before, verdict: unknown(whyNotCurrent(context, one === null ? 'one' : 'other')) };
    if (returnPumpRuns(context) === false) {
      const parted = before.stoodMs !== null && context.nowMs - before.stoodMs < SAMPLE_EVERY_MS ? before : { ...before, recent: [], stoodMs: context.nowMs };
      return { state: parted, verdict: unknown('the return pump stands, so that display and sump are not mixed') };
    }
    if (before.stoodMs !== null && context.nowMs - before.stoodMs < MIX_MS) return { state: before, verdict: unknown('display and sump are mixing again after the return pump stood') };
    const state = input.type === 'reading' && isSample(before, one, other, context) ? take(before, one, other, context) : before;
    if (state.apartSinceMs !== null) return { state, verdict: breached(state, one, other, context) };
    return { state, verdict: state.recent.length < SAMPLES ? unknown('comparing the two: it takes an hour') : clear, quiet: quietOf(state, one, other, context) };
  },

  doubts: ({ jumped }) => (jumped === null ? {} : { [jumped]: 'it has jumped, and another sensor in the same water has not' }),

  // The first sample that is off, and two more of five.
  surelyAfterMs: (_settings, { points }) => 3 * Math.max(SAMPLE_OFF_EVERY_MS, points.get('one')?.everyMs ?? 0, points.get('other')?.everyMs ?? 0),

  firstChecks(advice) {
    return [
      'Measure with a third, independent instrument, at the place of each: which of the two is right?',
      'Until it is known, trust neither: the heater or chiller may follow the wrong one.',
      beforeReachingIn(advice),
      'Look at the one that has moved: water in its plug, a probe that has slipped out of the water, growth on it, a calibration entered wrongly.',
      'If both are right, the water is not mixed: return pump, weir and pipes between display and sump.',
      'Calibrate or change the wrong one. Its calibration page keeps the raw readings.',
      electricalWork,
    ];
  },
});

function pairsOf(facts: TankFacts, kind: Kind): readonly Proposal[] {
  const inWater = facts.points.filter((point) => point.kind === kind && point.tankId === facts.tank.id && (point.place === 'display' || point.place === 'sump'));
  // Against the first of the display; with more than two, each against that one.
  const [reference, ...others] = [...inWater].sort((a, b) => Number(b.place === 'display') - Number(a.place === 'display'));
  if (reference === undefined) return [];
  const pumps = facts.equipment.filter((one) => one.kind === 'return-pump');
  const runs = facts.points.filter((point) => telltales.includes(point.kind) && pumps.some(({ id }) => id === point.equipmentId)).slice(0, 4);
  return others.map((other: Point) => ({
    subject: other.id,
    title: `${reference.name} and ${other.name} disagree`,
    roles: { one: reference.id, other: other.id, ...(reference.place === other.place ? {} : Object.fromEntries(runs.map(({ id }, index) => [`pump-${index + 1}`, id]))) },
    equipment: null,
    missing: null,
    defaults: {},
    ...(kind === 'temperature' ? { policy: { priority: 'high' as const } } : {}),
  }));
}

/** Oftener while one is off, or was one of the last samples: then it is to be told soon whether it stays. */
function isSample({ sampledMs, usual, recent }: State, one: Latest, other: Latest, context: RuleContext<Settings>): boolean {
  if (sampledMs === null) return true;
  const sinceMs = context.nowMs - sampledMs;
  if (sinceMs < SAMPLE_OFF_EVERY_MS) return false;
  const tolerance = toleranceOf(context, one.value);
  return sinceMs >= SAMPLE_EVERY_MS || offBy(other.value - one.value, usual) > tolerance || recent.some(([a, b]) => offBy(b - a, usual) > tolerance);
}

/** Until the next sample, while neither the pump stops nor the two part. */
function quietOf({ sampledMs, usual, recent }: State, one: Latest, other: Latest, context: RuleContext<Settings>): Quiet | undefined {
  if (sampledMs === null) return undefined;
  const tolerance = toleranceOf(context, one.value);
  const pumps = returnPumpsStay(context);
  // By so much each may move: a little less than half of what is left, for a tolerance that is a share of the value moves with it.
  const each = ((usual === null ? UNLEARNT : 1) * (tolerance - offBy(other.value - one.value, usual))) / 2.2;
  if (each <= 0 || recent.some(([a, b]) => offBy(b - a, usual) > 0.9 * tolerance)) return { untilMs: sampledMs + SAMPLE_OFF_EVERY_MS, within: pumps };
  return { untilMs: sampledMs + SAMPLE_EVERY_MS, within: { ...pumps, one: [one.value - each, one.value + each], other: [other.value - each, other.value + each] } };
}

/** How far a difference is off the usual one; a third of it as long as that is not known. */
const offBy = (difference: number, usual: number | null): number => (usual === null ? Math.abs(difference) / UNLEARNT : Math.abs(difference - usual));

function take(before: State, one: Latest, other: Latest, context: RuleContext<Settings>): State {
  const { nowMs } = context;
  const recent = [...before.recent, [one.value, other.value] as [number, number]].slice(-SAMPLES);
  const sampled: State = { ...before, recent, sampledMs: nowMs, stoodMs: null };
  const difference = recent.length < SAMPLES ? null : median(recent.map(([a, b]) => b - a));
  if (difference === null) return sampled;
  const tolerance = toleranceOf(context, one.value);
  const { usual } = before;
  const off = offBy(difference, usual);
  const apart = off > tolerance * (before.apartSinceMs === null ? 1 : BACK);
  if (apart) return before.apartSinceMs === null ? { ...sampled, apartSinceMs: nowMs, jumped: areMixed(context) ? jumpIn(recent, usual, tolerance) : null } : sampled;
  // The oldest of the five: one that has just jumped is among the newest, and not yet in the middle.
  const agreed = off < tolerance / 2 ? (recent[0] ?? null) : before.agreed;
  return { ...learn(sampled, difference, nowMs), agreed, apartSinceMs: null, jumped: null };
}

/** In one place, or a pump between them is seen running. */
function areMixed(context: RuleContext<Settings>): boolean {
  return context.point('one')?.place === context.point('other')?.place || returnPumpRuns(context) === true;
}

/** Which of the two went off at once, between samples of which those before are as usual and those after are not. */
function jumpIn(recent: State['recent'], usual: number | null, tolerance: number): 'one' | 'other' | null {
  const firstOff = recent.findIndex(([a, b]) => offBy(b - a, usual) > tolerance);
  const before = recent[firstOff - 1];
  const after = recent[firstOff];
  // The other has had some minutes by the last one: water that was poured in reaches it, too.
  const last = recent.at(-1);
  if (usual === null || before === undefined || after === undefined || last === undefined || offBy(before[1] - before[0], usual) > tolerance / 2) return null;
  const moved = (index: 0 | 1, to: readonly [number, number]): number => Math.abs(to[index] - before[index]);
  const jumped = (index: 0 | 1, beside: 0 | 1): boolean =>
    moved(index, after) > tolerance / 2 && Math.max(moved(beside, after), moved(beside, last)) < STAYED * moved(index, after);
  return jumped(0, 1) ? 'one' : jumped(1, 0) ? 'other' : null;
}

/** One difference an hour; from twelve on their middle is usual, and after two days it stays: a drift must not become usual. */
function learn(state: State, difference: number, nowMs: number): State {
  if (state.learning.length >= LEARNT || (state.learntMs !== null && nowMs - state.learntMs < HOUR)) return state;
  const learning = [...state.learning, Number(difference.toFixed(3))];
  return { ...state, learning, learntMs: nowMs, usual: learning.length < LEARN_NEEDED ? null : median(learning) };
}

function toleranceOf(context: RuleContext<Settings>, value: number): number {
  if (context.settings.tolerance !== null) return context.settings.tolerance;
  switch (context.point('one')?.kind) {
    case 'conductivity':
      return 0.03 * Math.abs(value);
    case 'acidity':
      return 0.3;
    default:
      return 0.6;
  }
}

function breached({ usual, agreed, apartSinceMs, jumped }: State, one: Latest, other: Latest, context: RuleContext<Settings>): Verdict {
  const kind = context.point('one')?.kind ?? 'temperature';
  const names = [context.point('one')?.name ?? 'one', context.point('other')?.name ?? 'the other'] as const;
  const difference = other.value - one.value;
  const evidence: Evidence[] = [
    { label: names[0], value: one.value, kind, atMs: one.atMs },
    { label: names[1], value: other.value, kind, atMs: other.atMs },
    { label: 'Difference', value: signed(kind, difference) },
    usual === null ? { label: 'Usual difference', value: 'not known yet' } : { label: 'Usual difference', value: signed(kind, usual) },
    { label: 'Tolerance', value: show(kind, toleranceOf(context, one.value)) },
    { label: 'Apart for', value: showDuration(Math.max(0, context.nowMs - (apartSinceMs ?? context.nowMs))), atMs: apartSinceMs ?? context.nowMs },
  ];
  if (jumped !== null) evidence.push({ label: 'Jumped from one sample to the next, while the other stayed', value: names[jumped === 'one' ? 0 : 1] });
  if (agreed !== null) {
    evidence.push({ label: `${names[0]} has moved since they agreed by`, value: signed(kind, one.value - agreed[0]) }, { label: `${names[1]} has moved since they agreed by`, value: signed(kind, other.value - agreed[1]) });
  }
  return { state: 'breached', summary: `${names[0]} says ${show(kind, one.value)} and ${names[1]} ${show(kind, other.value)}${usual === null ? '' : `; they usually differ by ${signed(kind, usual)}`}`, evidence };
}

const signed = (kind: Kind, value: number): string => `${value < 0 ? '' : '+'}${value.toFixed(kinds[kind].decimals)} ${kinds[kind].unit}`;
