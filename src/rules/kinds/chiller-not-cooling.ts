/**
 * A chiller that runs and does not cool.
 *
 * Problem: refrigerant lost, no water through it, a fouled condenser: the compressor hums, the meter shows a run, and the water warms on.
 *
 * Method. What a chiller does is the slope of the water while it runs less the slope in the hour before (`run-slopes.ts`): losses, lamps and room are on both sides.
 * Expected is at least 1.2 W of heat taken out for each electrical watt (usual: 2–3, common practice), over all of the nominal water. Breached when it has run for
 * `after`, the water has not fallen by 0.15 K since it began, and over the last full hour of the run the difference is less than a quarter of the expected. A run that was not
 * seen to begin, or has gone on for 5 h, has nothing to be compared with and is not judged. Over after
 * an hour of running at 60 % of the expected or more, by itself or against the rest before; or when it has been off for three days. That the water falls on a cool night is no cure.
 *
 * What must not ring: a heat wave that the chiller only just holds (its slope changed all the same when it started), lamps that go on
 * during a run (one hour of one run; the next hour is compared with its own), a probe in the air for minutes, the first minutes of a run (cooling builds up).
 */
import { z } from 'zod';
import { DAY, HOUR, MINUTE, showDuration } from '../../domain/duration.ts';
import { show } from '../../domain/units.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { beforeReachingIn, electricalWork, husbandry, slowCorrection } from '../cautions.ts';
import { chillerEffectWatts, chillerProposals, expectedCoolingKPerH } from '../chilling.ts';
import { defineRule, type Latest, type Quiet, type RuleContext } from '../contract.ts';
import { type Draw, readDraw, showDraw, tooCoarse } from '../draw.ts';
import { quietWithin, sameDraw } from '../quiet.ts';
import { afterSilence, followRun, noSlopes, runSlopes, stretchEndsMs } from '../run-slopes.ts';
import { chillerOnWatts, isRunning } from '../running.ts';
import { duration, supplyVolts } from '../settings.ts';
import { unknown, whyNotCurrent } from '../unknown.ts';

const settings = z.strictObject({
  after: duration(HOUR, 12 * HOUR).default(75 * MINUTE).describe('How long it must have run before it is judged, such as 75m. Default 75 min.'),
  supplyVolts,
});
type Settings = z.infer<typeof settings>;

const state = z.strictObject({
  slopes: runSlopes,
  /** Slope of the rest before the run that is on, K/h. */
  restKPerH: z.number().nullable(),
  breachedSinceMs: z.number().nullable(),
});
type State = z.infer<typeof state>;

const FALLEN_K = 0.15;
/** Less than this share of the least expected is no cooling. */
const LEAST_SHARE = 0.25;
/** From this share on it cools again. */
const COOLS_SHARE = 0.6;
/** Off for so long, it is no news any more. */
const GIVEN_UP_MS = 3 * DAY;
/** The rest before a run is compared with for so long; then the day has changed. */
const REST_COUNTS_MS = 5 * HOUR;

export default defineRule<Settings, State>({
  kind: 'chiller-not-cooling',
  watchesFor: 'A chiller that runs and does not cool the water.',
  settings,
  state,
  initial: { slopes: noSlopes, restKPerH: null, breachedSinceMs: null },
  policy: { priority: 'urgent', onDelayMs: 0, offDelayMs: 15 * MINUTE },

  apply: (facts) => chillerProposals(facts, 'not cooling'),

  step(before, _input, context) {
    const water = context.current('water');
    if (water === null) return { state: unseen(before), verdict: unknown(whyNotCurrent(context, 'water')) };
    const draw = readDraw(context, context.settings.supplyVolts);
    if (draw.by === null) return { state: unseen(before), verdict: unknown(draw.why) };
    const running = isRunning(draw, chillerOnWatts(context.equipment)) ?? before.slopes.on;
    if (running === null) return { state: before, verdict: unknown(tooCoarse) };
    const state = judge(follow(before, running, water, context.nowMs), water, context);
    return { state, verdict: state.breachedSinceMs === null ? clear : breached(state, water, draw, context), quiet: quietOf(state, draw, context) };
  },

  surelyAfterMs: ({ after }) => after,

  firstChecks(advice) {
    const name = advice.equipment?.name ?? 'the chiller';
    return [
      'Compare with an independent thermometer. Is the return pump running, and the sump as warm as the display?',
      beforeReachingIn(advice),
      `See that water flows through ${name}: feed pump, prefilter, kinked hose, closed valve. Is the water that comes back cooler than what goes in?`,
      'See that air flows through its condenser, that it is free of dust and does not breathe its own warm air.',
      'Until it cools: lamps off or dimmed, lids open, a fan over the water, and keep the water moving. Cool slowly, with sealed bags of ice at most.',
      slowCorrection,
      'The refrigerant circuit is for a refrigeration technician.',
      electricalWork,
      husbandry,
    ];
  },
});

/** While it rests, or has not run for long, until the next stretch ends. */
function quietOf({ slopes, breachedSinceMs }: State, draw: Draw, context: RuleContext<Settings>): Quiet | undefined {
  const onWatts = chillerOnWatts(context.equipment);
  if (breachedSinceMs !== null) return undefined;
  const judgedMs = slopes.on !== true || slopes.sinceMs === null ? Number.POSITIVE_INFINITY : slopes.sinceMs + context.settings.after;
  return quietWithin(sameDraw(draw, [onWatts, onWatts / 2]), Math.min(stretchEndsMs(slopes), judgedMs));
}

const unseen = (before: State): State => {
  const slopes = afterSilence(before.slopes);
  return slopes === before.slopes ? before : { ...before, slopes };
};

function follow(before: State, running: boolean, water: Latest, nowMs: number): State {
  const slopes = followRun(before.slopes, running, water, nowMs);
  if (slopes === before.slopes) return before;
  const starts = running && before.slopes.on !== true;
  return { ...before, slopes, restKPerH: starts ? (slopes.restMs !== null && nowMs - slopes.restMs < REST_COUNTS_MS ? slopes.restKPerH : null) : before.restKPerH };
}

function judge(before: State, water: Latest, context: RuleContext<Settings>): State {
  const { slopes } = before;
  if (before.breachedSinceMs !== null) {
    return hasCooled(before, before.breachedSinceMs, context) ? { ...before, breachedSinceMs: null } : before;
  }
  const { sinceMs, sinceC, onKPerH, onMs } = slopes;
  if (slopes.on !== true || sinceMs === null || sinceC === null || context.nowMs - sinceMs < context.settings.after || water.value <= sinceC - FALLEN_K) return before;
  if (onKPerH === null || onMs === null || onMs <= sinceMs || before.restKPerH === null || context.nowMs - sinceMs > REST_COUNTS_MS) return before;
  return before.restKPerH - onKPerH < leastKPerH(context) ? { ...before, breachedSinceMs: context.nowMs } : before;
}

/** A cool night lets the water fall as well: only a slope that takes a chiller, or a change of slope at a start, says that it cools. */
function hasCooled({ slopes, restKPerH }: State, breachedSinceMs: number, context: RuleContext<Settings>): boolean {
  const { on, onKPerH, onMs, sinceMs } = slopes;
  const expected = expectedCoolingKPerH(context.equipment, context.tank);
  if (on === false && sinceMs !== null && context.nowMs - sinceMs > GIVEN_UP_MS) return true;
  if (onKPerH === null || onMs === null || onMs - HOUR < breachedSinceMs) return false;
  if (onKPerH <= -COOLS_SHARE * expected) return true;
  return restKPerH !== null && sinceMs !== null && sinceMs > breachedSinceMs && restKPerH - onKPerH >= COOLS_SHARE * expected;
}

const leastKPerH = (context: RuleContext<Settings>): number => LEAST_SHARE * expectedCoolingKPerH(context.equipment, context.tank);

function breached(state: State, water: Latest, draw: Draw, context: RuleContext<Settings>): Verdict {
  const { nowMs, equipment, tank } = context;
  const { slopes } = state;
  const ranMs = slopes.on === true && slopes.sinceMs !== null ? nowMs - slopes.sinceMs : null;
  const expected = expectedCoolingKPerH(equipment, tank);
  const evidence: Evidence[] = [
    { label: 'Water', value: water.value, kind: 'temperature', atMs: water.atMs },
    draw.by === 'power' || draw.by === 'current' || draw.by === 'energy' ? { label: 'Draws', value: draw.watts, kind: 'power', atMs: draw.atMs } : { label: 'Switch', value: showDraw(draw) },
  ];
  if (slopes.sinceC !== null && ranMs !== null) evidence.push({ label: 'When it started', value: slopes.sinceC, kind: 'temperature', atMs: nowMs - ranMs });
  if (state.restKPerH !== null) evidence.push({ label: 'Water moved before it started by', value: `${signed(state.restKPerH)} K/h` });
  if (slopes.onKPerH !== null) evidence.push({ label: 'Water moved while it ran by', value: `${signed(slopes.onKPerH)} K/h`, ...(slopes.onMs === null ? {} : { atMs: slopes.onMs }) });
  evidence.push({ label: 'It should pull that down by at least', value: `${expected.toFixed(2)} K/h (${chillerEffectWatts(equipment).toFixed(0)} W of heat out of all of the nominal water)` });
  evidence.push({ label: 'Since', value: showDuration(nowMs - (state.breachedSinceMs ?? nowMs)), atMs: state.breachedSinceMs ?? nowMs });
  const name = equipment?.name ?? 'the chiller';
  const ran = ranMs === null ? `${name} ran` : `${name} has run for ${showDuration(ranMs)}`;
  return { state: 'breached', summary: `${ran} and the water, at ${show('temperature', water.value)}, has not cooled${slopes.onKPerH === null || state.restKPerH === null ? '' : `: it moves by ${signed(slopes.onKPerH)} K/h, ${signed(state.restKPerH)} K/h before it started`}`, evidence };
}

const signed = (value: number): string => `${value >= 0 ? '+' : '−'}${Math.abs(value).toFixed(2)}`;
