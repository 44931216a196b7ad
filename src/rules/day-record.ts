/**
 * A quantity hour by hour and day by day, for whatever shows over days: one reading an hour (its first), and of each day that is over the median and
 * the second lowest and second highest of them, so that one wild reading a day moves nothing. Changes once an hour at most. Days are UTC days: a
 * swing or a trend does not mind where the cut lies.
 */
import { z } from 'zod';
import { DAY, HOUR } from '../domain/duration.ts';
import { median } from '../physics/statistics/median.ts';

const DAYS_KEPT = 30;
/** A day of fewer hours than this says nothing. */
const HOURS_NEEDED = 12;

export const dayRecord = z.strictObject({
  /** Hour since 1970 of the last value taken. */
  hour: z.number().nullable(),
  /** Values of the day that runs. */
  today: z.array(z.number()).max(24),
  /** Days that are over, oldest first: day since 1970, median, second lowest, second highest. */
  days: z.array(z.tuple([z.number(), z.number(), z.number(), z.number()])).max(DAYS_KEPT),
});
export type DayRecord = z.infer<typeof dayRecord>;

export const nothingRecorded: DayRecord = { hour: null, today: [], days: [] };

/** @returns the same object within an hour. `days` is another array only when a day has been added. */
export function record(before: DayRecord, atMs: number, value: number): DayRecord {
  const hour = Math.floor(atMs / HOUR);
  if (before.hour !== null && hour <= before.hour) return before;
  const rounded = Math.round(value * 1000) / 1000;
  const day = dayOf(hour);
  if (before.hour === null || day === dayOf(before.hour)) return { ...before, hour, today: [...before.today, rounded].slice(-24) };
  const closed = dayOver(dayOf(before.hour), before.today);
  return { hour, today: [rounded], days: closed === null ? before.days : [...before.days, closed].filter(([at]) => at > day - DAYS_KEPT).slice(-DAYS_KEPT) };
}

/** When the hour of the last value is over: until then no value is taken. */
export function nextRecordedMs({ hour }: DayRecord): number {
  return hour === null ? Number.NEGATIVE_INFINITY : (hour + 1) * HOUR;
}

function dayOver(day: number, values: readonly number[]): [number, number, number, number] | null {
  const sorted = [...values].sort((a, b) => a - b);
  const middle = median(sorted);
  const low = sorted[1];
  const high = sorted[sorted.length - 2];
  return sorted.length < HOURS_NEEDED || middle === null || low === undefined || high === undefined ? null : [day, middle, low, high];
}

const dayOf = (hour: number): number => Math.floor((hour * HOUR) / DAY);
