/**
 * Linear regression that bends only a little for wild values (Huber's M-estimate by iteratively reweighted least squares), with a prior where
 * something is known beforehand.
 *
 * Residuals up to `tuning` robust standard deviations count in full, those beyond in proportion less. 1.345 keeps 95 % of the efficiency of least
 * squares on normal errors (Huber; from memory); `Infinity` makes it least squares. Scale: 1.4826 · median |residual|, with the usual correction for
 * fitted parameters.
 */
import { dot, inverseOf, type Matrix, times } from './linear-system.ts';
import { MAD_TO_SIGMA, median } from './median.ts';
import { studentQuantile } from './normal.ts';

export interface Observation {
  readonly x: readonly number[];
  readonly y: number;
}

/** What was known before: information matrix (inverse covariance) and information matrix · mean, in natural units. */
export interface Prior {
  readonly precision: Matrix;
  readonly weighted: readonly number[];
}

export interface Regression {
  readonly coefficients: readonly number[];
  readonly covariance: Matrix;
  /** Of one observation. */
  readonly residualSigma: number;
  readonly degrees: number;
  /** 1 where an observation counts in full. */
  readonly weights: readonly number[];
}

export interface HuberOptions {
  readonly tuning?: number;
  readonly prior?: Prior;
  /** Observations of before that are no longer kept: Σ w x xᵀ and Σ w x y. They count as if they scattered like those of now. */
  readonly before?: Prior;
  /** Scatter is never taken to be smaller than this: quantised values may fit too well by chance. */
  readonly leastSigma?: number;
}

const MOST_TURNS = 25;
/** Far below the interval of any coefficient. */
const SETTLED = 1e-6;

/** @returns `null` where the observations (and the prior) do not settle every coefficient. Give a column of ones for an intercept. */
export function huber(observations: readonly Observation[], options: HuberOptions = {}): Regression | null {
  const { tuning = 1.345, prior, before: kept, leastSigma = 0 } = options;
  const size = observations[0]?.x.length ?? 0;
  // A prior settles what data leave open, so that only data count as spent.
  const degrees = prior === undefined ? observations.length - size : Math.max(1, observations.length - 1);
  if (size === 0 || degrees < 1) return null;
  let weights: readonly number[] = observations.map(() => 1);
  let sigma = 0;
  let found: { readonly coefficients: number[]; readonly covariance: number[][] } | null = null;
  for (let turn = 0; turn < MOST_TURNS; turn += 1) {
    const before: readonly number[] | undefined = found?.coefficients;
    // The prior weighs against the data by their scatter, which is not known in the first turn: then the data speak alone if they can.
    found = solve(observations, weights, sigma, prior, kept, size) ?? (sigma === 0 && prior !== undefined ? solve(observations, weights, leastSigma > 0 ? leastSigma : 1, prior, kept, size) : null);
    if (found === null) return null;
    const residuals = observations.map(({ x, y }) => y - dot(x, found?.coefficients ?? []));
    const plain = Math.sqrt(residuals.reduce((sum, r, i) => sum + (weights[i] ?? 0) * r * r, 0) / degrees);
    const robust = MAD_TO_SIGMA * (median(residuals.map(Math.abs)) ?? 0) * Math.sqrt(observations.length / degrees);
    sigma = Math.max(leastSigma, Number.isFinite(tuning) && robust > 0 ? robust : plain);
    if (Number.isFinite(tuning)) weights = residuals.map((r) => (Math.abs(r) <= tuning * sigma ? 1 : (tuning * sigma) / Math.abs(r)));
    if (before !== undefined && settled(before, found.coefficients)) break;
  }
  const last = solve(observations, weights, sigma, prior, kept, size);
  if (last === null) return null;
  // What the down-weighting gave away in efficiency (Huber): E[ψ²]/E[ψ']² over the residuals.
  const residuals = observations.map(({ x, y }) => y - dot(x, last.coefficients));
  const inside = residuals.filter((r) => Math.abs(r) <= tuning * sigma).length / observations.length;
  const score = residuals.reduce((sum, r) => sum + Math.min(Math.abs(r), tuning * sigma) ** 2, 0) / degrees;
  const effective = Math.max(leastSigma, Math.sqrt(score) / Math.max(0.5, inside));
  const settledAt = solve(observations, weights, effective, prior, kept, size) ?? last;
  return { coefficients: last.coefficients, covariance: settledAt.covariance, residualSigma: effective, degrees, weights };
}

/** Half-width of the interval of a coefficient (Student). */
export function halfWidth(regression: Regression, index: number, confidence: number): number {
  const variance = regression.covariance[index]?.[index] ?? Number.NaN;
  return studentQuantile(0.5 + confidence / 2, regression.degrees) * Math.sqrt(variance);
}

/** Coefficients and covariance at given weights. */
function solve(observations: readonly Observation[], weights: readonly number[], sigma: number, prior: Prior | undefined, kept: Prior | undefined, size: number) {
  const s2 = sigma > 0 ? sigma * sigma : 1;
  // Sums are made in place: this is where the time of a fit goes.
  const precision = Array.from({ length: size }, () => new Array<number>(size).fill(0));
  const weighted = new Array<number>(size).fill(0);
  if (prior !== undefined && sigma > 0) accumulate(precision, weighted, prior, 1);
  if (kept !== undefined) accumulate(precision, weighted, kept, 1 / s2);
  observations.forEach(({ x, y }, n) => {
    const w = (weights[n] ?? 0) / s2;
    for (let i = 0; i < size; i += 1) {
      const wx = w * (x[i] ?? Number.NaN);
      const row = precision[i];
      if (row === undefined || wx === 0) continue;
      weighted[i] = (weighted[i] ?? 0) + wx * y;
      for (let j = 0; j < size; j += 1) row[j] = (row[j] ?? 0) + wx * (x[j] ?? Number.NaN);
    }
  });
  const covariance = inverseOf(precision);
  return covariance === null ? null : { coefficients: times(covariance, weighted), covariance };
}

function accumulate(precision: number[][], weighted: number[], add: Prior, factor: number): void {
  add.precision.forEach((line, i) => line.forEach((value, j) => {
    const row = precision[i];
    if (row !== undefined) row[j] = (row[j] ?? 0) + factor * value;
  }));
  add.weighted.forEach((value, i) => (weighted[i] = (weighted[i] ?? 0) + factor * value));
}

function settled(before: readonly number[], after: readonly number[]): boolean {
  return after.every((value, i) => Math.abs(value - (before[i] ?? Number.NaN)) <= SETTLED * (Math.abs(value) + 1e-9));
}
