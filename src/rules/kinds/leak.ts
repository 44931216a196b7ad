/**
 * Water that falls faster than it can evaporate, hour after hour: a leak.
 *
 * Problem: a weeping union or a siphon empties a sump or a display in hours to days, and no pad lies under it.
 * Method: the level by the hour (`hours.ts`). Breached when each of the last three hours fell by more than the pace allowed: `fallPerHour`, or three times what it usually falls in an hour of falling
 * (the upper tenth of the last week's hours, so that lamps, fans and dry days are in it), at least 2 mm. A water change, hands in the sump, a pump that starts or stops move the level within one
 * hour, and not in three one after the other. Over when an hour does not fall by half of the pace.
 * Where a top-off holds the level it cannot be seen here: then the reservoir tells (`top-off-consumption`).
 *
 * Urgent: it does not stop by itself. Evaporation is 0.5–1.5 % of the volume a day, 2–3 % with fans (common practice): on a display of half a metre that is 0.6 mm an hour at the very most; in a sump, which
 * answers for the display as well, several times that, hence what is learnt. Common practice, no source.
 */
import { z } from 'zod';
import { HOUR, MINUTE } from '../../domain/duration.ts';
import type { Point } from '../../domain/fleet.ts';
import { show } from '../../domain/units.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { quantile } from '../../physics/statistics/median.ts';
import { beforeReachingIn, electricalWork, husbandry } from '../cautions.ts';
import { defineRule, type RuleContext } from '../contract.ts';
import { type Hourly, hourlyState, noHours, takeHourly } from '../hours.ts';
import { unknown, whyNotCurrent } from '../unknown.ts';

const settings = z.strictObject({
  fallPerHour: z.number().min(0.5).max(500).nullable().default(null).describe('A fall by more than so many mm in each of three hours is a leak; null: three times the usual, at least 2 mm.'),
});
type Settings = z.infer<typeof settings>;

const state = z.strictObject({
  hourly: hourlyState,
  /** Pace allowed, mm/h; `null`: being learnt. */
  pace: z.number().nullable(),
  leak: z.strictObject({ sinceMs: z.number(), falls: z.array(z.number()).max(8), fromMm: z.number() }).nullable(),
});
type State = z.infer<typeof state>;

const HOURS_KEPT = 168;
const HOURS_NEEDED = 24;
const HOURS_FALLING = 3;
const LEAST_PACE_MM = 2;

export default defineRule<Settings, State>({
  kind: 'leak',
  watchesFor: 'Water that falls faster than it evaporates, hour after hour.',
  settings,
  state,
  initial: { hourly: noHours, pace: null, leak: null },
  policy: { priority: 'urgent', onDelayMs: 0, offDelayMs: 30 * MINUTE },

  apply(facts) {
    const levels = facts.points.filter((point) => point.kind === 'level' && point.equipmentId === null && point.tankId === facts.tank.id && (point.place === 'sump' || point.place === 'display'));
    return levels.map((point: Point) => ({ subject: point.id, title: `${point.place === 'sump' ? 'Sump' : 'Display'} leaking`, roles: { level: point.id }, equipment: null, missing: null, defaults: {} }));
  },

  step(before, _input, context) {
    const level = context.current('level');
    if (level === null) return { state: before, verdict: unknown(whyNotCurrent(context, 'level')) };
    const hourly = takeHourly(before.hourly, level.atMs, level.value, 1, HOURS_KEPT);
    const state = hourly === before.hourly ? before : hourly.hours === before.hourly.hours ? { ...before, hourly } : judgeHours(hourly, before, context);
    if (state.leak !== null) return { state, verdict: breached(state.leak, state.pace, level.value, context) };
    return { state, verdict: state.pace === null ? unknown(`its usual fall is being learnt: it takes ${HOURS_NEEDED} hours`) : clear };
  },

  firstChecks(advice) {
    const shutOff = advice.site.waterShutOff === null ? '' : ` Where to shut the water off: ${advice.site.waterShutOff}.`;
    return [
      `Ring the site: is there water on the floor, or below? Does it run over anywhere?${shutOff} Nobody steps into water that may be live.`,
      beforeReachingIn(advice),
      'Unions, bulkheads, hoses and the skimmer cup, with a dry paper towel; then silicone seams. A siphon: lift the ends of all hoses out of the water.',
      'In a display: is the overflow blocked, or does the return pump stand, so that the sump is full instead?',
      'Stop the return pump if the leak is in the return line: what is in the display then stays there. Keep air and movement in the display.',
      'Make up with mixed salt water what leaked, and check salinity.',
      electricalWork,
      husbandry,
    ];
  },
});

function judgeHours(hourly: Hourly, before: State, { settings, nowMs }: RuleContext<Settings>): State {
  const falls = fallsOf(hourly);
  const last = falls.slice(-HOURS_FALLING);
  // What a leak does is not usual: nothing is learnt of it.
  const learnt = before.leak === null ? paceOf(falls.slice(0, -HOURS_FALLING)) : before.pace;
  const pace = settings.fallPerHour ?? learnt;
  if (pace === null) return { hourly, pace, leak: null };
  const goesOn = before.leak !== null && (last.at(-1) ?? 0) > pace / 2;
  const begins = last.length === HOURS_FALLING && last.every((fall) => fall !== null && fall > pace);
  if (!goesOn && !begins) return { hourly, pace, leak: null };
  const shown = last.filter((fall) => fall !== null);
  const fromMm = before.leak?.fromMm ?? hourly.hours.at(-1 - HOURS_FALLING)?.[1];
  if (fromMm === undefined) return { hourly, pace, leak: null };
  return { hourly, pace, leak: { sinceMs: before.leak?.sinceMs ?? nowMs - HOURS_FALLING * HOUR, falls: shown, fromMm } };
}

/** Fall from one hour to the next, mm; `null` across a gap. */
function fallsOf({ hours }: Hourly): readonly (number | null)[] {
  return hours.slice(1).map(([hour, level], index) => {
    const previous = hours[index];
    return previous === undefined || hour - previous[0] !== 1 ? null : Number((previous[1] - level).toFixed(1));
  });
}

function paceOf(falls: readonly (number | null)[]): number | null {
  const known = falls.filter((fall) => fall !== null);
  const usual = known.length < HOURS_NEEDED ? null : quantile(known, 0.9);
  return usual === null ? null : Number(Math.max(LEAST_PACE_MM, 3 * usual).toFixed(1));
}

function breached({ sinceMs, falls, fromMm }: NonNullable<State['leak']>, pace: number | null, mm: number, context: RuleContext<Settings>): Verdict {
  const where = context.point('level')?.place === 'sump' ? 'the sump' : 'the display';
  const evidence: Evidence[] = [
    { label: 'Fall in each of the last hours', value: falls.map((fall) => `${fall.toFixed(1)} mm`).join(', ') },
    { label: 'Leak from, per hour', value: `${(pace ?? Number.NaN).toFixed(1)} mm` },
    { label: 'Level now', value: mm, kind: 'level' },
    { label: 'Level before', value: fromMm, kind: 'level', atMs: sinceMs },
  ];
  return { state: 'breached', summary: `${where} has fallen by ${show('level', fromMm - mm)} to ${show('level', mm)}, hour after hour by more than ${(pace ?? Number.NaN).toFixed(1)} mm: faster than water evaporates`, evidence };
}
