/**
 * A straight line through points of which up to 29 % may be wild: the median of the slopes of all pairs.
 *
 * Source: PNNL, Visual Sample Plan help, after Gilbert 1987 pp. 217–218 and Conover 1999 p. 336 (as quoted there). Intercept after Conover:
 * median(y) − slope · median(x). Interval by ranks (Sen 1968), as scipy does it.
 */
import { mannKendall } from './mann-kendall.ts';
import { median } from './median.ts';
import { normalQuantile } from './normal.ts';

export interface Line {
  readonly slope: number;
  readonly intercept: number;
  /** The slope lies between, with the stated confidence (independent errors). */
  readonly low: number;
  readonly high: number;
  readonly pairs: number;
}

export interface Pair {
  readonly x: number;
  readonly y: number;
}

/** All pairs: n²/2 of them, so at most some hundreds of points. @returns `null` of fewer than two different x. */
export function theilSen(points: readonly Pair[], confidence = 0.95): Line | null {
  const slopes = pairSlopes(points).sort((a, b) => a - b);
  const slope = median(slopes);
  const middleX = median(points.map(({ x }) => x));
  const middleY = median(points.map(({ y }) => y));
  if (slope === null || middleX === null || middleY === null) return null;
  const { varianceS } = mannKendall(points);
  const reach = normalQuantile(0.5 + confidence / 2) * Math.sqrt(varianceS);
  const low = slopes[Math.max(0, Math.round((slopes.length - reach) / 2) - 1)] ?? slope;
  const high = slopes[Math.min(slopes.length - 1, Math.round((slopes.length + reach) / 2))] ?? slope;
  return { slope, intercept: middleY - slope * middleX, low, high, pairs: slopes.length };
}

/** Slopes of all pairs with different x at least `leastApart` apart. */
export function pairSlopes(points: readonly Pair[], leastApart = 0): number[] {
  const slopes: number[] = [];
  for (const [index, one] of points.entries()) {
    for (let later = index + 1; later < points.length; later += 1) {
      const other = points[later];
      if (other === undefined) break;
      const apart = other.x - one.x;
      if (apart !== 0 && Math.abs(apart) >= leastApart) slopes.push((other.y - one.y) / apart);
    }
  }
  return slopes;
}
