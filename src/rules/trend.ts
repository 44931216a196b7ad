/** Is there a lasting change over the last days of a record, and how large? */
import { z } from 'zod';
import { mannKendall } from '../physics/statistics/mann-kendall.ts';
import { median } from '../physics/statistics/median.ts';
import { theilSen } from '../physics/statistics/theil-sen.ts';
import type { DayRecord } from './day-record.ts';

export const trendShape = z.strictObject({
  /** First and last day that were looked at, since 1970. */
  fromDay: z.number(),
  toDay: z.number(),
  /** Of the first four days the one nearest to the median of all, of the last four the one nearest to that: so a hot weekend is no trend at either end. */
  from: z.number(),
  to: z.number(),
  /** Theil–Sen slope. */
  perDay: z.number(),
  /** Mann–Kendall, standard normal where there is no trend. */
  z: z.number(),
});
export type Trend = z.infer<typeof trendShape>;

const DAYS_NEEDED = 7;
const LASTING_DAYS = 4;
/** 95 % by Mann–Kendall: a coin that falls the same way so often is no coin. */
const SURE_Z = 1.96;

/** @param span in days, up to the newest. @returns `null` of fewer than seven days. */
export function trendOf({ days }: DayRecord, span: number): Trend | null {
  const newest = days.at(-1);
  if (newest === undefined) return null;
  const looked = days.filter(([day]) => day > newest[0] - span);
  const first = looked[0];
  if (first === undefined || looked.length < DAYS_NEEDED) return null;
  const pairs = looked.map(([x, y]) => ({ x, y }));
  const usual = median(looked.map(([, value]) => value));
  const from = usual === null ? null : nearest(looked.slice(0, LASTING_DAYS).map(([, value]) => value), usual);
  const to = from === null ? null : nearest(looked.slice(-LASTING_DAYS).map(([, value]) => value), from);
  const line = theilSen(pairs);
  if (from === null || to === null || line === null) return null;
  return { fromDay: first[0], toDay: newest[0], from, to, perDay: short(line.slope), z: short(mannKendall(pairs).z) };
}

const nearest = (values: readonly number[], to: number): number | null => [...values].sort((a, b) => Math.abs(a - to) - Math.abs(b - to))[0] ?? null;

/** Goes the same way all the time, not there and back, nor in one step that chance explains. */
export const isSteady = ({ from, to, perDay, z: normal }: Trend): boolean => Math.abs(normal) >= SURE_Z && (to - from) * perDay > 0;

const short = (value: number): number => Math.round(value * 10_000) / 10_000;
