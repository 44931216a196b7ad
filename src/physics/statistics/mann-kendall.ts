/**
 * Is there a trend at all? Counts pairs that rise against pairs that fall.
 *
 * Source: Var S = [n(n−1)(2n+5) − Σ t(t−1)(2t+5)]/18 over ties t, Z = (S ∓ 1)/√Var (second-hand, as coded in a public implementation); τ is Kendall's τ-b.
 */
import type { Pair } from './theil-sen.ts';

export interface Trend {
  readonly s: number;
  readonly varianceS: number;
  /** Standard normal where there is no trend; 0 where nothing can be told. */
  readonly z: number;
  /** −1 to 1; 0 where nothing can be told. */
  readonly tau: number;
}

export function mannKendall(points: readonly Pair[]): Trend {
  let s = 0;
  points.forEach((one, index) => {
    for (const other of points.slice(index + 1)) s += Math.sign(other.x - one.x) * Math.sign(other.y - one.y);
  });
  const n = points.length;
  const tiesX = ties(points.map(({ x }) => x));
  const tiesY = ties(points.map(({ y }) => y));
  const weight = (t: number): number => t * (t - 1) * (2 * t + 5);
  const varianceS = Math.max(0, (weight(n) - sum(tiesX.map(weight)) - sum(tiesY.map(weight))) / 18);
  const pairs = (n * (n - 1)) / 2;
  const inTies = (t: number): number => (t * (t - 1)) / 2;
  const different = Math.sqrt((pairs - sum(tiesX.map(inTies))) * (pairs - sum(tiesY.map(inTies))));
  return { s, varianceS, z: varianceS > 0 ? (s - Math.sign(s)) / Math.sqrt(varianceS) : 0, tau: different > 0 ? s / different : 0 };
}

/** Sizes of the groups of equal values. */
function ties(values: readonly number[]): number[] {
  const counts = new Map<number, number>();
  for (const value of values) counts.set(value, (counts.get(value) ?? 0) + 1);
  return [...counts.values()].filter((count) => count > 1);
}

const sum = (values: readonly number[]): number => values.reduce((total, value) => total + value, 0);
