/**
 * Water that falls faster than it can evaporate, hour after hour: a leak.
 *
 * Problem: a weeping union or a siphon empties a sump or a display in hours to days, and no pad lies under it.
 * Method: the level by the hour (`hours.ts`). Breached when one of these holds:
 *   - each of the last three hours fell by more than the pace allowed: `fallPerHour`, or three times what it usually falls in an hour of falling (the upper tenth of the last week's hours, so that lamps, fans and dry days are in it),
 *     at least 2 mm. A water change, hands in the sump, a pump that starts or stops move the level within one hour, and not in three one after the other;
 *   - all of the last six fell, and half of them by more than a slower pace: three times the upper tenth of what such halves usually are, at least 1.2 mm (half of `fallPerHour`, where that is set). A gauge of whole
 *     millimetres scatters from hour to hour by as much as a wide display loses in one;
 *   - where a top-off holds the level, and its reservoir is measured: in each of the last three spans of two hours the reservoir fell at twice its usual pace and by half of an even share (water made up at once after a visit is no pace), in all six hours by more than a usual day, by 3 % of it at least, and by
 *     more than a tank of its size can evaporate at all (`src/physics/top-off/weather.ts`), and the water did not rise by that (that would be a top-off that runs on). Where it is twice as much as can evaporate,
 *     three single hours are enough.
 * Over when neither an hour nor the reservoir falls by half of the pace any more. While the reservoir is empty nothing is over.
 *
 * Urgent: it does not stop by itself. Evaporation is 0.5–1.5 % of the volume a day, 2–3 % with fans (common practice): on a display of half a metre that is 0.6 mm an hour at the very most; in a sump, which
 * answers for the display as well, several times that, hence what is learnt. Common practice, no source.
 */
import { z } from 'zod';
import { HOUR } from '../../domain/duration.ts';
import type { Point } from '../../domain/fleet.ts';
import { show } from '../../domain/units.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { quantile } from '../../physics/statistics/median.ts';
import { ASSUMED_ROOM_C } from '../../physics/thermal/prior.ts';
import { weatherBand } from '../../physics/top-off/weather.ts';
import { beforeReachingIn, electricalWork, husbandry } from '../cautions.ts';
import { defineRule, type RuleContext } from '../contract.ts';
import { type Hourly, hourlyState, nextTakenMs, noHours, takeHourly } from '../hours.ts';
import { percentOf, reservoirProposals } from '../reservoir.ts';
import { unknown, whyNotCurrent } from '../unknown.ts';
import { roomTemperaturePoint, waterTemperaturePoint } from '../water.ts';

const settings = z.strictObject({
  fallPerHour: z.number().min(0.5).max(500).nullable().default(null).describe('A fall by more than so many mm in each of three hours is a leak; null: three times the usual, at least 2 mm.'),
});
type Settings = z.infer<typeof settings>;

const givenShape = z.strictObject({ hours: z.number().default(6), percentPerDay: z.number(), usualPerDay: z.number() });
type Given = z.infer<typeof givenShape>;

const noReservoir = { hourly: noHours, usual: null, count: 0 };

const state = z.strictObject({
  hourly: hourlyState,
  /** Pace allowed, mm/h; `null`: being learnt. */
  pace: z.number().nullable(),
  /** Pace allowed to half of six hours that all fall, mm/h. */
  slowPace: z.number().nullable().default(null),
  /** Of the reservoir that makes good: percent by the hour, the last of them, and what it usually loses in one. */
  reservoir: z.strictObject({ hourly: hourlyState, usual: z.number().nullable(), count: z.number() }).default(noReservoir),
  leak: z.strictObject({ sinceMs: z.number(), falls: z.array(z.number()).max(8), fromMm: z.number(), pace: z.number(), given: givenShape.nullable() }).nullable(),
});
type State = z.infer<typeof state>;

const HOURS_KEPT = 168;
const HOURS_NEEDED = 24;
const HOURS_FALLING = 3;
const LEAST_PACE_MM = 2;
/** Twice what a display of half a metre loses in an hour at the very most. */
const LEAST_SLOW_PACE_MM = 1.2;
const HOURS_SLOW = 6;
const HOURS_GIVEN = 6;
/** What is looked at three of, and how many times over it has to be sure. */
const SPANS = [{ spanHours: 2, sure: 1 }, { spanHours: 1, sure: 2 }] as const;
/** An hour of the reservoir counts for a seventieth of its usual: three days or so. */
const USUAL_HOURS = 72;
const REFILL_PERCENT = 2;
const NOISE_PERCENT = 1;
const EMPTY_PERCENT = 5;
/** The water is let rise by so much before it is a top-off that runs on. */
const RISE_MM = 5;
/** As the kinds of water are kept, where it is not measured: common practice. */
const COLD_C = 12;
const WARM_C = 25;

export default defineRule<Settings, State>({
  kind: 'leak',
  watchesFor: 'Water that falls faster than it evaporates, hour after hour.',
  settings,
  state,
  initial: { hourly: noHours, pace: null, slowPace: null, reservoir: noReservoir, leak: null },
  policy: { priority: 'urgent', onDelayMs: 0, offDelayMs: 12 * HOUR },

  apply(facts) {
    const levels = facts.points.filter((point) => point.kind === 'level' && point.equipmentId === null && point.tankId === facts.tank.id && (point.place === 'sump' || point.place === 'display'));
    const [reservoir] = reservoirProposals(facts, 'watched').filter(({ missing }) => missing === null);
    const water = waterTemperaturePoint(facts);
    const room = roomTemperaturePoint(facts);
    return levels.map((point: Point) => {
      // The weir holds the level of a display with a sump below: the top-off answers for the sump.
      const gauge = facts.tank.sumpLitres > 0 && point.place === 'display' ? undefined : reservoir?.roles.gauge;
      const making = gauge === undefined ? {} : { gauge, ...(water === null ? {} : { water: water.id }), ...(room === null ? {} : { room: room.id }) };
      return { subject: point.id, title: `${point.place === 'sump' ? 'Sump' : 'Display'} leaking`, roles: { level: point.id, ...making }, equipment: gauge === undefined ? null : reservoir?.equipment ?? null, missing: null, defaults: {} };
    });
  },

  step(before, _input, context) {
    const level = context.current('level');
    if (level === null) return { state: before, verdict: unknown(whyNotCurrent(context, 'level')) };
    const hourly = takeHourly(before.hourly, level.atMs, level.value, 1, HOURS_KEPT);
    const reservoir = takeReservoir(before, context);
    const isNew = hourly.hours !== before.hourly.hours || reservoir.hourly.hours !== before.reservoir.hourly.hours;
    const state = hourly === before.hourly && reservoir === before.reservoir ? before : isNew ? judgeHours({ ...before, hourly, reservoir }, context) : { ...before, hourly, reservoir };
    if (state.leak !== null) return { state, verdict: breached(state.leak, level.value, context) };
    const untilMs = Math.min(nextTakenMs(hourly), context.current('gauge') === null ? Number.POSITIVE_INFINITY : nextTakenMs(reservoir.hourly));
    return { state, verdict: state.pace === null ? unknown(`its usual fall is being learnt: it takes ${HOURS_NEEDED} hours`) : clear, quiet: { untilMs } };
  },

  surelyAfterMs: (_settings, { state: { leak } }) => (leak?.given?.hours ?? HOURS_FALLING) * HOUR,

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

function judgeHours(before: State, context: RuleContext<Settings>): State {
  const { hourly, reservoir } = before;
  const { settings, nowMs } = context;
  const falls = fallsOf(hourly, ofTenths);
  const last = falls.slice(-HOURS_FALLING);
  // What a leak does is not usual: nothing is learnt of it.
  const isLeaking = before.leak !== null;
  // Medians of a week of windows: four times a day is often enough for what is usual.
  const isSlowDue = before.slowPace === null || (hourly.hours.at(-1)?.[0] ?? 0) % HOURS_SLOW === 0;
  const pace = settings.fallPerHour ?? (isLeaking ? before.pace : paceOf(falls.slice(0, -HOURS_FALLING)));
  const slowPace = settings.fallPerHour !== null ? settings.fallPerHour / 2 : isLeaking || !isSlowDue ? before.slowPace : slowPaceOf(falls.slice(0, -HOURS_SLOW));
  const now = { ...before, pace, slowPace };
  if (pace === null) return { ...now, leak: null };
  const given = givenOf(reservoir, hourly, context);
  if (before.leak !== null) {
    const goesOn = (last.at(-1) ?? 0) > before.leak.pace / 2 || stillGives(before.leak, reservoir);
    return { ...now, leak: goesOn ? { ...before.leak, falls: known(last), given: given ?? before.leak.given } : null };
  }
  const fast = last.length === HOURS_FALLING && last.every((fall) => fall !== null && fall > pace);
  const slow = slowPace !== null && (halfOf(falls.slice(-HOURS_SLOW)) ?? 0) > slowPace && falls.slice(-HOURS_SLOW).every((fall) => fall !== null && fall > 0);
  if (!fast && !slow && given === null) return { ...now, leak: null };
  const hours = fast ? HOURS_FALLING : HOURS_SLOW;
  const fromMm = hourly.hours.at(-1 - hours)?.[1] ?? hourly.hours[0]?.[1];
  if (fromMm === undefined) return { ...now, leak: null };
  return { ...now, leak: { sinceMs: nowMs - hours * HOUR, falls: known(falls.slice(-hours)), fromMm, pace: fast || slowPace === null || !slow ? pace : slowPace, given } };
}

const known = (falls: readonly (number | null)[]): number[] => falls.filter((fall) => fall !== null);

/** What half of six hours fell by, mm; `null` across a gap. */
function halfOf(falls: readonly (number | null)[]): number | null {
  const there = known(falls);
  return there.length < HOURS_SLOW ? null : quantile(there, 0.5);
}

function slowPaceOf(falls: readonly (number | null)[]): number | null {
  const halves = falls.flatMap((_, index) => {
    const half = halfOf(falls.slice(index, index + HOURS_SLOW));
    return half === null ? [] : [half];
  });
  const usual = halves.length < HOURS_NEEDED ? null : quantile(halves, 0.9);
  return usual === null ? null : Number(Math.max(LEAST_SLOW_PACE_MM, 3 * usual).toFixed(1));
}

function takeReservoir({ reservoir, leak }: State, context: RuleContext<Settings>): State['reservoir'] {
  const gauge = context.current('gauge');
  if (gauge === null) return reservoir;
  const hourly = takeHourly(reservoir.hourly, gauge.atMs, percentOf(gauge, context), 2, 2 * HOURS_GIVEN + 1);
  if (hourly === reservoir.hourly) return reservoir;
  // What fell of late may be the leak that is about to be found.
  const fall = hourly.hours === reservoir.hourly.hours ? null : fallsOf(hourly, toTenths).at(-1 - HOURS_GIVEN) ?? null;
  if (fall === null || fall < -REFILL_PERCENT || leak !== null) return { ...reservoir, hourly };
  const count = Math.min(USUAL_HOURS, reservoir.count + 1);
  const usual = (reservoir.usual ?? 0) + (fall - (reservoir.usual ?? 0)) / count;
  return { hourly, usual: Number(usual.toFixed(4)) + 0, count };
}

/** Far more from the reservoir than usual, and than evaporates: over six hours, or, where it is very much more, over three; `null`: no, or not known. */
function givenOf({ hourly: { hours }, usual, count }: State['reservoir'], level: Hourly, context: RuleContext<Settings>): Given | null {
  const { tank, equipment } = context;
  const capacity = equipment?.capacityLitres ?? null;
  if (usual === null || count < HOURS_NEEDED || capacity === null) return null;
  const usualPerDay = Math.max(0, 24 * usual);
  const band = weatherBand(tank.displayLitres + tank.sumpLitres, context.current('water')?.value ?? (tank.water === 'cold' ? COLD_C : WARM_C), context.current('room')?.value ?? ASSUMED_ROOM_C);
  for (const { spanHours, sure } of SPANS) {
    const levels = [3, 2, 1, 0].map((spans) => hours.at(-1 - spans * spanHours));
    const [first, second, third, now] = levels;
    const lastsHours = 3 * spanHours;
    if (first === undefined || second === undefined || third === undefined || now === undefined || now[0] - first[0] !== lastsHours) continue;
    const falls = [first[1] - second[1], second[1] - third[1], third[1] - now[1]];
    const fall = first[1] - now[1];
    const perDay = (fall * 24) / lastsHours;
    const enough = fall > Math.max(usualPerDay, sure * 3 * NOISE_PERCENT) && (perDay / 100) * capacity > sure * band.mostLitresPerDay && falls.every((one) => one > Math.max(usualPerDay, fall) / 6);
    const before = level.hours.at(-1 - lastsHours);
    const after = level.hours.at(-1);
    const rises = before === undefined || after === undefined || after[1] > before[1] + RISE_MM;
    if (enough && !rises) return { hours: lastsHours, percentPerDay: Number(perDay.toFixed(1)), usualPerDay: Number(usualPerDay.toFixed(2)) };
  }
  return null;
}

function stillGives({ given }: NonNullable<State['leak']>, { hourly: { hours } }: State['reservoir']): boolean {
  if (given === null) return false;
  const now = hours.at(-1);
  const before = hours.at(-4);
  // Empty, filled up, or too short: nothing is known anew.
  if (now === undefined || before === undefined || now[1] <= EMPTY_PERCENT || now[1] > before[1] + REFILL_PERCENT) return true;
  return before[1] - now[1] > Math.max(NOISE_PERCENT, given.usualPerDay / 4);
}

const toTenths = (fall: number): number => Number(fall.toFixed(1));
/** The same, and quicker, of levels that are tenths themselves: there is no half to round. */
const ofTenths = (fall: number): number => Math.round(fall * 10) / 10;

/** Fall from one hour to the next, mm; `null` across a gap. */
function fallsOf({ hours }: Hourly, rounded: (fall: number) => number): readonly (number | null)[] {
  return hours.slice(1).map(([hour, level], index) => {
    const previous = hours[index];
    return previous === undefined || hour - previous[0] !== 1 ? null : rounded(previous[1] - level);
  });
}

function paceOf(falls: readonly (number | null)[]): number | null {
  const known = falls.filter((fall) => fall !== null);
  const usual = known.length < HOURS_NEEDED ? null : quantile(known, 0.9);
  return usual === null ? null : Number(Math.max(LEAST_PACE_MM, 3 * usual).toFixed(1));
}

function breached({ sinceMs, falls, fromMm, pace, given }: NonNullable<State['leak']>, mm: number, context: RuleContext<Settings>): Verdict {
  const where = context.point('level')?.place === 'sump' ? 'the sump' : 'the display';
  const evidence: Evidence[] = [
    { label: 'Fall in each of the last hours', value: falls.map((fall) => `${fall.toFixed(1)} mm`).join(', ') },
    { label: 'Leak from, per hour', value: `${pace.toFixed(1)} mm` },
    { label: 'Level now', value: mm, kind: 'level' },
    { label: 'Level before', value: fromMm, kind: 'level', atMs: sinceMs },
  ];
  const capacity = context.equipment?.capacityLitres ?? null;
  if (given === null || capacity === null) {
    return { state: 'breached', summary: `${where} has fallen by ${show('level', fromMm - mm)} to ${show('level', mm)}, hour after hour by more than ${pace.toFixed(1)} mm: faster than water evaporates`, evidence };
  }
  const litres = (percent: number): string => `${((percent / 100) * capacity).toFixed(1)} L a day`;
  evidence.unshift({ label: `The reservoir gave, at the pace of ${given.hours} hours`, value: litres(given.percentPerDay) }, { label: 'Usual', value: litres(given.usualPerDay) });
  return { state: 'breached', summary: `${context.equipment?.name ?? 'the reservoir'} gives ${litres(given.percentPerDay)} where ${litres(given.usualPerDay)} are usual, and ${where} does not rise: water goes somewhere, faster than it evaporates`, evidence };
}
