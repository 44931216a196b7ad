/**
 * How much a tank draws from its top-off reservoir each day, and how many days are left.
 *
 * Method. The level is kept as one median every two hours for ten days. A rise that lasts is a refill, a fall larger than a day's use within two hours is somebody
 * taking water (or a pump that sticks): both begin a new stretch, and only slopes within a stretch count. Top-off pumps take steps, so only pairs of
 * values at least eight hours apart are compared; the rate is the median of all their slopes (Theil–Sen). How much one day differs from the next is
 * taken from the day-long differences, and carried into the range of the days left.
 *
 * State is plain JSON of at most 3 kB. Levels and rates are in one unit, litres as a rule.
 */
import { DAY, HOUR } from '../../domain/duration.ts';
import { type Known, known, notKnown } from '../known.ts';
import { MAD_TO_SIGMA, median } from '../statistics/median.ts';
import { studentQuantile } from '../statistics/normal.ts';
import { pairSlopes } from '../statistics/theil-sen.ts';
import type { Estimate } from '../thermal/fit.ts';

export interface ReservoirFacts {
  readonly fullLitres: number;
  /** How well a level is known, as a standard deviation; 1 % of the contents by itself. */
  readonly noiseLitres?: number;
}

/** One value of the level: hours since 1970 of its two hours, litres, number of its stretch. */
type Point = readonly [hour: number, litres: number, stretch: number];

export interface ReservoirMemory {
  /** Oldest first. */
  readonly points: readonly Point[];
  readonly open: { readonly hour: number; readonly litres: readonly number[]; readonly disturbed: boolean } | null;
}

export const reservoirStart: ReservoirMemory = { points: [], open: null };

const BIN_HOURS = 2;
const POINTS_KEPT = 120;
const READINGS_KEPT = 24;
const LEAST_APART_HOURS = 8;
const LEAST_DAYS = 2;
/** Days differ by at least so much, whatever the few that were seen say: common practice, no source. */
const LEAST_DAY_SHARE = 0.1;
const CONFIDENCE = 0.8;

/**
 * One reading. @param disturbed somebody is at the tank, or the reading is in doubt: the stretch ends.
 * At most 24 readings of two hours are kept (others are passed over), so any cadence will do. Older readings than the last change nothing.
 */
export function rememberLevel(memory: ReservoirMemory, atMs: number, litres: number, disturbed: boolean, facts: ReservoirFacts): ReservoirMemory {
  const hour = Math.floor(atMs / (BIN_HOURS * HOUR)) * BIN_HOURS;
  const { open } = memory;
  if (open === null || hour > open.hour) {
    const points = open === null ? memory.points : closed(memory.points, open, facts);
    return { points, open: { hour, litres: [litres], disturbed } };
  }
  if (hour < open.hour || (open.litres.length >= READINGS_KEPT && (open.disturbed || !disturbed))) return memory;
  const kept = open.litres.length >= READINGS_KEPT ? open.litres : [...open.litres, litres];
  return { ...memory, open: { hour, litres: kept, disturbed: open.disturbed || disturbed } };
}

/** Litres a day, with the range of four cases of five for the mean of the days to come. @param sinceMs only what was seen from then on. */
export function consumption(memory: ReservoirMemory, facts: ReservoirFacts, sinceMs = 0, leastDays = LEAST_DAYS): Known<Consumption> {
  const stretches = stretchesOf(memory.points.filter(([hour]) => hour * HOUR >= sinceMs));
  const days = stretches.reduce((sum, points) => sum + hoursOf(points), 0) / 24;
  if (days < leastDays) return notKnown(`${days.toFixed(1)} days of a reservoir that nobody filled are there, and ${leastDays} are needed`);
  const slopes = stretches.flatMap((points) => pairSlopes(points, LEAST_APART_HOURS));
  const slope = median(slopes);
  if (slope === null) return notKnown('the level of the reservoir comes too seldom');
  const perDay = -24 * slope;
  const differences = stretches.flatMap((points) => dayLong(points)).map((fall) => Math.abs(fall - perDay));
  const daySd = Math.max(MAD_TO_SIGMA * (median(differences) ?? 0), LEAST_DAY_SHARE * Math.abs(perDay), 0.5 * noiseOf(facts));
  const reach = studentQuantile(0.5 + CONFIDENCE / 2, Math.max(1, days - 1)) * (daySd / Math.sqrt(days));
  return known({ litresPerDay: { value: perDay, low: perDay - reach, high: perDay + reach }, daySd, days });
}

export interface Consumption {
  readonly litresPerDay: Estimate;
  /** By how much one day differs from another, as a standard deviation. */
  readonly daySd: number;
  /** Days that were seen, refills and service taken out. */
  readonly days: number;
}

/**
 * Days until `emptyLitres`, with the range of four cases of five; 0 where it is empty. @param litres the level now.
 * Days ahead differ as days behind did, and a spell of weather lasts: neighbouring days are taken to be half alike.
 */
export function daysLeft({ litresPerDay: { value: rate }, daySd, days }: Consumption, litres: number, emptyLitres: number, facts: ReservoirFacts): Known<Estimate> {
  const left = litres - emptyLitres;
  if (left <= 0) return known({ value: 0, low: 0, high: 0 });
  if (!(rate > 0)) return notKnown('the reservoir does not fall');
  const likely = left / rate;
  const alike = 3;
  const past = daySd ** 2 / days;
  const ahead = (daySd ** 2 * alike) / Math.max(likely, alike);
  const relative = Math.hypot(Math.sqrt(past + ahead) / rate, noiseOf(facts) / left);
  const reach = Math.exp(studentQuantile(0.5 + CONFIDENCE / 2, Math.max(1, days - 1)) * relative);
  return known({ value: likely, low: likely / reach, high: likely * reach });
}

/** Whether the last `recentMs` differ from what was before: the step in litres a day, and how many of its own standard deviations that is. */
export function consumptionStep(memory: ReservoirMemory, facts: ReservoirFacts, nowMs: number, recentMs = 2 * DAY): Known<{ readonly before: number; readonly recent: number; readonly sigmas: number }> {
  const recent = consumption(memory, facts, nowMs - recentMs - BIN_HOURS * HOUR, (0.75 * recentMs) / DAY);
  const before = consumption({ ...memory, points: memory.points.filter(([hour]) => hour * HOUR < nowMs - recentMs) }, facts);
  if (!recent.known) return recent;
  if (!before.known) return before;
  // The scatter of before counts for both: two odd days tell little of their own.
  const sd = before.value.daySd * Math.sqrt(1 / before.value.days + 1 / recent.value.days);
  const step = recent.value.litresPerDay.value - before.value.litresPerDay.value;
  return known({ before: before.value.litresPerDay.value, recent: recent.value.litresPerDay.value, sigmas: step / sd });
}

function closed(points: readonly Point[], open: NonNullable<ReservoirMemory['open']>, facts: ReservoirFacts): readonly Point[] {
  const litres = median(open.litres);
  const last = points.at(-1);
  if (litres === null) return points;
  const rounded = Number(litres.toFixed(3)) + 0;
  if (last === undefined) return [[open.hour, rounded, open.disturbed ? 1 : 0]];
  const [hour, before, stretch] = last;
  const breaks = open.disturbed || isBreak(before - rounded, open.hour - hour, points, facts);
  return [...points, [open.hour, rounded, breaks ? stretch + 1 : stretch] as const].slice(-POINTS_KEPT);
}

/** A rise beyond noise, or a fall by more than a day of usual use (or a tenth of the contents) beyond what the time explains. */
function isBreak(fall: number, hours: number, points: readonly Point[], facts: ReservoirFacts): boolean {
  const noise = noiseOf(facts);
  if (fall < -Math.max(3 * noise, 0.02 * facts.fullLitres)) return true;
  const usual = median(stretchesOf(points).flatMap((stretch) => pairSlopes(stretch, LEAST_APART_HOURS)));
  const perDay = usual === null || usual >= 0 ? 0.1 * facts.fullLitres : -24 * usual;
  return fall > 3 * noise + Math.max(perDay, 0.02 * facts.fullLitres) * (1 + hours / 24);
}

interface XY {
  readonly x: number;
  readonly y: number;
}

function stretchesOf(points: readonly Point[]): readonly (readonly XY[])[] {
  const byNumber = new Map<number, XY[]>();
  for (const [hour, litres, stretch] of points) {
    const found = byNumber.get(stretch);
    if (found === undefined) byNumber.set(stretch, [{ x: hour, y: litres }]);
    else found.push({ x: hour, y: litres });
  }
  return [...byNumber.values()].filter((stretch) => hoursOf(stretch) >= LEAST_APART_HOURS);
}

const hoursOf = (points: readonly XY[]): number => (points.at(-1)?.x ?? 0) - (points[0]?.x ?? 0);

/** Falls over 24 h. */
function dayLong(points: readonly XY[]): number[] {
  const byHour = new Map(points.map(({ x, y }) => [x, y]));
  return points.flatMap(({ x, y }) => {
    const later = byHour.get(x + 24);
    return later === undefined ? [] : [y - later];
  });
}

const noiseOf = ({ fullLitres, noiseLitres }: ReservoirFacts): number => noiseLitres ?? 0.01 * fullLitres;
