/**
 * A chiller that cools less than it used to.
 *
 * Problem: refrigerant seeps out over weeks, dust builds up in the condenser. The thermostat hides it by longer runs until the first hot week, when
 * nothing is left.
 *
 * Method. What it does is the slope of the water while it runs less the slope while it rests (`run-slopes.ts`), times the heat capacity, per watt of nameplate: an
 * effective performance. One value for each run, their median for each day of at least two. Compared are the median of the last four such days and the best that
 * any four days in a row have had before, within the last 60: breached below `percent` of it, on two days on end. The figure need not
 * be right in itself (rock and fill change it by a constant), only like itself. Over at 10 % more, or when a day comes near the best again (it was cleaned).
 *
 * What must not ring: a warm room (a chiller loses about 2 % for each kelvin: 10 K leave 80 %), single odd runs (lamps, a visit), short runs under 20 min
 * (not used; a chiller that only makes such runs is not judged), a winter without runs (days are counted, not dates).
 */
import { z } from 'zod';
import { DAY, HOUR } from '../../domain/duration.ts';
import { clear, type Verdict } from '../../domain/verdict.ts';
import { beforeReachingIn, electricalWork, husbandry } from '../cautions.ts';
import { chillerProposals } from '../chilling.ts';
import { defineRule, type RuleContext } from '../contract.ts';
import { readDraw, tooCoarse } from '../draw.ts';
import { median } from '../median.ts';
import { quietWithin, sameDraw } from '../quiet.ts';
import { afterSilence, effectKPerH, followRun, noSlopes, runSlopes, stretchEndsMs } from '../run-slopes.ts';
import { chillerOnWatts, isRunning } from '../running.ts';
import { supplyVolts } from '../settings.ts';
import { unknown, whyNotCurrent } from '../unknown.ts';
import { tankHeatCapacityWhPerK } from '../water.ts';

const settings = z.strictObject({
  percent: z.number().min(20).max(95).default(65).describe('Losing capacity below so many percent of the best it has done. Default 65: a room that is 10 K warmer leaves about 80.'),
  supplyVolts,
});
type Settings = z.infer<typeof settings>;

const DAYS_KEPT = 40;
const WINDOW_DAYS = 4;
const BACK = 10;
const RUNS_A_DAY = 12;
const RUNS_NEEDED = 2;
const COUNTED_DAYS = 60;
/** A run and a rest that lie within this make a pair. */
const PAIR_WITHIN_MS = 4 * HOUR;

const state = z.strictObject({
  slopes: runSlopes,
  pairMs: z.number().nullable(),
  day: z.number().nullable(),
  /** Performance of the runs of the day that goes on. */
  today: z.array(z.number()).max(RUNS_A_DAY),
  /** Day since 1970 and median performance, oldest first. */
  days: z.array(z.tuple([z.number(), z.number()])).max(DAYS_KEPT),
  lowDays: z.number(),
  breached: z.boolean(),
});
type State = z.infer<typeof state>;

export default defineRule<Settings, State>({
  kind: 'chiller-losing-capacity',
  watchesFor: 'A chiller that cools less than it used to.',
  settings,
  state,
  initial: { slopes: noSlopes, pairMs: null, day: null, today: [], days: [], lowDays: 0, breached: false },
  // There are days left to have it seen to, if somebody is told.
  policy: { priority: 'high', onDelayMs: 0, offDelayMs: 0 },

  apply: (facts) => chillerProposals(facts, 'losing capacity'),

  step(before, _input, context) {
    const water = context.current('water');
    const draw = readDraw(context, context.settings.supplyVolts);
    if (water === null || draw.by === null) {
      const slopes = afterSilence(before.slopes);
      return { state: slopes === before.slopes ? before : { ...before, slopes }, verdict: unknown(water === null ? whyNotCurrent(context, 'water') : draw.by === null ? draw.why : tooCoarse) };
    }
    const running = isRunning(draw, chillerOnWatts(context.equipment)) ?? before.slopes.on;
    if (running === null) return { state: before, verdict: unknown(tooCoarse) };
    const slopes = followRun(before.slopes, running, water, context.nowMs);
    const state = slopes === before.slopes ? before : closeDay(notePair({ ...before, slopes }, context), context);
    if (state.breached) return { state, verdict: breached(state, context) };
    const onWatts = chillerOnWatts(context.equipment);
    return {
      state, verdict: state.days.length < 2 * WINDOW_DAYS ? unknown('learning what it can do: needs eight days with two runs of 20 min each') : clear,
      quiet: quietWithin(sameDraw(draw, [onWatts, onWatts / 2]), stretchEndsMs(slopes)),
    };
  },

  // Once it has fallen below: the middle of four days turns with the third, and has to be low on one more.
  surelyAfterMs: () => (WINDOW_DAYS / 2 + 2) * DAY,

  firstChecks(advice) {
    const name = advice.equipment?.name ?? 'the chiller';
    return [
      'On the next visit, not at night. Is the room much warmer than in the weeks before? Then it is the room.',
      beforeReachingIn(advice),
      `Clean the condenser and the grille of ${name}, and see that it does not breathe its own warm air.`,
      'Clean the prefilter and the feed pump; measure how much water flows through. See that the temperature is measured where water moves.',
      'If that does not help, refrigerant may be missing: that is for a refrigeration technician. Have it looked at before the hot season.',
      electricalWork,
      husbandry,
    ];
  },
});

/** A run has ended, or gone on for an hour. */
function notePair(before: State, context: RuleContext<Settings>): State {
  const { onMs, restMs } = before.slopes;
  if (onMs === null || restMs === null || onMs === before.pairMs) return before;
  const effect = effectKPerH(before.slopes, context.nowMs, PAIR_WITHIN_MS);
  if (effect === null) return before;
  const performance = (-effect * tankHeatCapacityWhPerK(context.tank)) / (context.equipment?.nameplateWatts ?? Number.NaN);
  return { ...before, pairMs: onMs, today: [...before.today, Math.round(performance * 100) / 100].slice(-RUNS_A_DAY) };
}

function closeDay(before: State, context: RuleContext<Settings>): State {
  const day = Math.floor(context.nowMs / DAY);
  if (before.day === day) return before;
  const middle = before.day === null || before.today.length < RUNS_NEEDED ? null : median(before.today);
  const started = { ...before, day, today: [] };
  if (middle === null || before.day === null) return started;
  const days = [...before.days, [before.day, Math.round(middle * 100) / 100] as [number, number]].filter(([at]) => at > day - COUNTED_DAYS).slice(-DAYS_KEPT);
  const known = compare(days);
  if (known === null) return { ...started, days, lowDays: 0, breached: false };
  const percent = (100 * known.now) / known.best;
  const { percent: low } = context.settings;
  if (before.breached) return { ...started, days, lowDays: 0, breached: percent < low + BACK && (100 * middle) / known.best < 90 };
  const lowDays = percent < low ? before.lowDays + 1 : 0;
  return { ...started, days, lowDays, breached: lowDays >= 2 };
}

/** Median of the last four days against the best of any four in a row before. */
function compare(days: State['days']): { readonly now: number; readonly best: number; readonly bestDay: number } | null {
  if (days.length < 2 * WINDOW_DAYS) return null;
  const now = median(days.slice(-WINDOW_DAYS).map(([, value]) => value));
  let best: { readonly best: number; readonly bestDay: number } | null = null;
  for (let end = WINDOW_DAYS; end <= days.length - WINDOW_DAYS; end += 1) {
    const middle = median(days.slice(end - WINDOW_DAYS, end).map(([, value]) => value));
    const last = days[end - 1];
    if (middle !== null && last !== undefined && middle > (best?.best ?? 0)) best = { best: middle, bestDay: last[0] };
  }
  return now === null || best === null ? null : { now, ...best };
}

function breached({ days }: State, { equipment, settings: { percent } }: RuleContext<Settings>): Verdict {
  const known = compare(days);
  const name = equipment?.name ?? 'the chiller';
  if (known === null) return unknown('learning what it can do: needs eight days with two runs of 20 min each');
  const share = Math.max(0, Math.round((100 * known.now) / known.best));
  return {
    state: 'breached',
    summary: `${name} takes out ${share} % of the heat it took out at its best; below ${percent} % it loses capacity`,
    evidence: [
      { label: 'Heat out per watt of nameplate, last four days', value: known.now.toFixed(2) },
      { label: 'At its best, over four days', value: known.best.toFixed(2), atMs: known.bestDay * DAY },
      ...days.slice(-5).map(([day, value]) => ({ label: 'Day', value: value.toFixed(2), atMs: day * DAY })),
      { label: 'Losing below', value: `${percent} %` },
    ],
  };
}
