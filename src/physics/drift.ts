/**
 * Which way a quantity drifts, robustly, and how sure that is: the slope of its medians of two hours (`stretches.ts`), calibrations, water changes and visits
 * taken out.
 *
 * Median of the slopes of all pairs at least eight hours apart within a stretch (Theil–Sen); range from the scatter around it, with as many independent values as
 * there are when neighbours resemble each other: n (1 − r)/(1 + r).
 */
import { HOUR } from '../domain/duration.ts';
import type { Estimate } from './estimate.ts';
import { type Known, known, notKnown } from './known.ts';
import { MAD_TO_SIGMA, median } from './statistics/median.ts';
import { studentQuantile } from './statistics/normal.ts';
import { type Pair, pairSlopes } from './statistics/theil-sen.ts';
import { hoursOf, pointsOf, type Stretches } from './stretches.ts';

export interface Drift {
  /** Units a day, with the range of four cases of five. */
  readonly perDay: Estimate;
  readonly days: number;
}

const LEAST_APART_HOURS = 8;
const LEAST_DAYS = 2;
const CONFIDENCE = 0.8;

/** @param leastSigma scatter is not taken to be smaller than this (resolution of the instrument, say). @param sinceMs only what was seen from then on. */
export function drift(memory: Stretches, leastSigma: number, sinceMs = 0): Known<Drift> {
  const stretches = pointsOf(memory.bins.filter(([hour]) => hour * HOUR >= sinceMs), LEAST_APART_HOURS);
  const days = stretches.reduce((sum, points) => sum + hoursOf(points), 0) / 24;
  if (days < LEAST_DAYS) return notKnown(`${days.toFixed(1)} days without a visit or a calibration are there, and ${LEAST_DAYS} are needed`);
  const perHour = median(stretches.flatMap((points) => pairSlopes(points, LEAST_APART_HOURS)));
  if (perHour === null) return notKnown('readings come too seldom');
  const residuals = stretches.map((points) => residualsOf(points, perHour));
  const all = residuals.flat();
  const sigma = Math.max(leastSigma, MAD_TO_SIGMA * (median(all.map(Math.abs)) ?? 0));
  const alike = likenessOf(residuals);
  const independent = Math.max(3, (all.length * (1 - alike)) / (1 + alike));
  // Standard error of a slope: σ over the root of the sum of squared distances from the middle of each stretch, with fewer values.
  const squares = stretches.reduce((sum, points) => {
    const middle = points.reduce((total, { x }) => total + x, 0) / points.length;
    return sum + points.reduce((total, { x }) => total + (x - middle) ** 2, 0);
  }, 0);
  const error = sigma / Math.sqrt((squares * independent) / all.length);
  const reach = studentQuantile(0.5 + CONFIDENCE / 2, Math.max(1, independent - 2)) * error;
  return known({ perDay: { value: 24 * perHour, low: 24 * (perHour - reach), high: 24 * (perHour + reach) }, days });
}

function residualsOf(points: readonly Pair[], slope: number): number[] {
  const level = median(points.map(({ x, y }) => y - slope * x)) ?? Number.NaN;
  return points.map(({ x, y }) => y - slope * x - level);
}

/** Correlation of neighbours, 0–0.9. */
function likenessOf(residuals: readonly (readonly number[])[]): number {
  let together = 0;
  let square = 0;
  for (const list of residuals) {
    list.forEach((value, i) => {
      const before = list[i - 1];
      if (before === undefined) return;
      together += value * before;
      square += (value * value + before * before) / 2;
    });
  }
  return square > 0 ? Math.min(0.9, Math.max(0, together / square)) : 0;
}
