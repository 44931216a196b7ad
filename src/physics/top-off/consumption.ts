/**
 * How much a tank draws from its top-off reservoir each day, and how many days are left.
 *
 * Method. The level is kept as one median every two hours for ten days. A rise that lasts is a refill, a fall larger than a day's use within two hours is somebody
 * taking water (or a pump that sticks): both begin a new stretch, and only slopes within a stretch count. Top-off pumps take steps, so only pairs of
 * values at least eight hours apart are compared; the rate is the median of all their slopes (Theil–Sen). How much one day differs from the next is
 * taken from the day-long differences, and carried into the range of the days left.
 *
 * State as in `stretches.ts`. Levels and rates are in one unit, litres as a rule.
 */
import { DAY, HOUR } from '../../domain/duration.ts';
import type { Estimate } from '../estimate.ts';
import { type Known, known, notKnown } from '../known.ts';
import { MAD_TO_SIGMA, median } from '../statistics/median.ts';
import { studentQuantile } from '../statistics/normal.ts';
import { type Pair, pairSlopes } from '../statistics/theil-sen.ts';
import { type Bin, BIN_HOURS, hoursOf, pointsOf, rememberValue, type Stretches } from '../stretches.ts';

export interface ReservoirFacts {
  readonly fullLitres: number;
  /** How well a level is known, as a standard deviation; 1 % of the contents by itself. */
  readonly noiseLitres?: number;
}

const LEAST_APART_HOURS = 8;
const LEAST_DAYS = 2;
/** Days differ by at least so much, whatever the few that were seen say: common practice, no source. */
export const LEAST_DAY_SHARE = 0.07;
const CONFIDENCE = 0.8;
/** Neighbouring days are half alike, so that so many tell as much as one: (1 + ½)/(1 − ½). */
const ALIKE = 3;

/** One reading of the level; see `rememberValue`. Begins with `stretchesStart`. */
export function rememberLevel(memory: Stretches, atMs: number, litres: number, disturbed: boolean, facts: ReservoirFacts): Stretches {
  return rememberValue(memory, atMs, litres, disturbed, (value, hours, bins) => isBreak((bins.at(-1)?.[1] ?? value) - value, hours, bins, facts));
}

/** Litres a day, with the range of four cases of five for the mean of the days to come. @param sinceMs only what was seen from then on. */
export function consumption(memory: Stretches, sinceMs = 0, leastDays = LEAST_DAYS): Known<Consumption> {
  const stretches = pointsOf(memory.bins.filter(([hour]) => hour * HOUR >= sinceMs), LEAST_APART_HOURS);
  const days = stretches.reduce((sum, points) => sum + hoursOf(points), 0) / 24;
  if (days < leastDays) return notKnown(`${days.toFixed(1)} days of a reservoir that nobody filled are there, and ${leastDays} are needed`);
  const slopes = stretches.flatMap((points) => pairSlopes(points, LEAST_APART_HOURS));
  const slope = median(slopes);
  if (slope === null) return notKnown('the level of the reservoir comes too seldom');
  const perDay = -24 * slope;
  const differences = stretches.flatMap((points) => dayLong(points)).map((fall) => Math.abs(fall - perDay));
  // A pump that takes steps, and the sensor, make day-long differences scatter as well: no more than those of two hours show, which hardly hold anything else.
  const seenSd = MAD_TO_SIGMA * (median(differences) ?? 0);
  const levelVariance = levelVarianceOf(stretches, -slope);
  const daySd = Math.max(Math.sqrt(Math.max(0, seenSd ** 2 - 2 * levelVariance)), LEAST_DAY_SHARE * Math.abs(perDay));
  const reach = studentQuantile(0.5 + CONFIDENCE / 2, Math.max(1, days - 1)) * Math.hypot(daySd * Math.sqrt(ALIKE / Math.max(days, ALIKE)), (Math.SQRT2 * Math.sqrt(levelVariance)) / days);
  return known({ litresPerDay: { value: perDay, low: perDay - reach, high: perDay + reach }, daySd, levelSd: Math.sqrt(levelVariance), days });
}

export interface Consumption {
  readonly litresPerDay: Estimate;
  /** By how much one day differs from another, as a standard deviation. */
  readonly daySd: number;
  /** How far a level lies from where even use would have it: steps of the pump, and the sensor. */
  readonly levelSd: number;
  /** Days that were seen, refills and service taken out. */
  readonly days: number;
}

/**
 * Days until `emptyLitres`, with the range of four cases of five; 0 where it is empty. @param litres the level now.
 * Days ahead differ as days behind did, and a spell of weather lasts.
 */
export function daysLeft({ litresPerDay: { value: rate }, daySd, levelSd, days }: Consumption, litres: number, emptyLitres: number, facts: ReservoirFacts): Known<Estimate> {
  const left = litres - emptyLitres;
  if (left <= 0) return known({ value: 0, low: 0, high: 0 });
  if (!(rate > 0)) return notKnown('the reservoir does not fall');
  const likely = left / rate;
  const past = (daySd ** 2 * ALIKE) / Math.max(days, ALIKE);
  const ahead = (daySd ** 2 * ALIKE) / Math.max(likely, ALIKE);
  const relative = Math.hypot(Math.sqrt(past + ahead) / rate, Math.max(noiseOf(facts), levelSd) / left);
  const reach = Math.exp(studentQuantile(0.5 + CONFIDENCE / 2, Math.max(1, days - 1)) * relative);
  return known({ value: likely, low: likely / reach, high: likely * reach });
}

/** Whether the last `recentMs` differ from what was before: the step in litres a day, and how many of its own standard deviations that is. */
export function consumptionStep(memory: Stretches, nowMs: number, recentMs = 2 * DAY): Known<{ readonly before: number; readonly recent: number; readonly sigmas: number }> {
  const recent = consumption(memory, nowMs - recentMs - BIN_HOURS * HOUR, (0.75 * recentMs) / DAY);
  const before = consumption({ ...memory, bins: memory.bins.filter(([hour]) => hour * HOUR < nowMs - recentMs) });
  if (!recent.known) return recent;
  if (!before.known) return before;
  // The scatter of before counts for both: two odd days tell little of their own.
  const daySd = before.value.daySd > 0 ? before.value.daySd : recent.value.daySd;
  const sd = Math.hypot(daySd * Math.sqrt(1 / before.value.days + 1 / recent.value.days), (Math.SQRT2 * before.value.levelSd) / recent.value.days);
  const step = recent.value.litresPerDay.value - before.value.litresPerDay.value;
  return known({ before: before.value.litresPerDay.value, recent: recent.value.litresPerDay.value, sigmas: sd > 0 ? step / sd : 0 });
}

/** A rise beyond noise, or a fall by more than a day of usual use (or a tenth of the contents) beyond what the time explains. */
function isBreak(fall: number, hours: number, bins: readonly Bin[], facts: ReservoirFacts): boolean {
  const noise = noiseOf(facts);
  if (fall < -Math.max(3 * noise, 0.02 * facts.fullLitres)) return true;
  // Nearly always: no need to look up what is usual.
  if (fall <= 3 * noise + 0.02 * facts.fullLitres * (1 + hours / 24)) return false;
  const usual = median(pointsOf(bins, LEAST_APART_HOURS).flatMap((stretch) => pairSlopes(stretch, LEAST_APART_HOURS)));
  const perDay = usual === null || usual >= 0 ? 0.1 * facts.fullLitres : -24 * usual;
  return fall > 3 * noise + Math.max(perDay, 0.02 * facts.fullLitres) * (1 + hours / 24);
}

/** Half of the variance of the falls over two hours; a pump's step may be larger than what two hours use. */
function levelVarianceOf(stretches: readonly (readonly Pair[])[], perHour: number): number {
  const squares = stretches.flatMap((points) => points.slice(1).flatMap(({ x, y }, i) => {
    const before = points[i];
    return before === undefined || x - before.x !== BIN_HOURS ? [] : [(before.y - y - BIN_HOURS * perHour) ** 2];
  }));
  return squares.length === 0 ? 0 : squares.reduce((sum, square) => sum + square, 0) / squares.length / 2;
}

/** Falls over 24 h. */
function dayLong(points: readonly Pair[]): number[] {
  const byHour = new Map(points.map(({ x, y }) => [x, y]));
  return points.flatMap(({ x, y }) => {
    const later = byHour.get(x + 24);
    return later === undefined ? [] : [y - later];
  });
}

const noiseOf = ({ fullLitres, noiseLitres }: ReservoirFacts): number => noiseLitres ?? 0.01 * fullLitres;
