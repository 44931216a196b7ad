/** The middle of values, and how far they scatter around it, unmoved by a few wild ones. None of these reorders its list. */

/** 1/Φ⁻¹(0.75): makes the MAD of normally distributed values their standard deviation. */
export const MAD_TO_SIGMA = 1.482602218505602;

/** `null` of none. */
export function median(values: readonly number[]): number | null {
  return quantile(values, 0.5);
}

/** Median of the distances from the median, unscaled; `null` of none. */
export function mad(values: readonly number[]): number | null {
  const middle = median(values);
  return middle === null ? null : median(values.map((value) => Math.abs(value - middle)));
}

/** Standard deviation as the MAD tells it; `null` of none. 0 when more than half of the values are alike: a flat sensor has no scatter to measure. */
export function robustSigma(values: readonly number[]): number | null {
  const spread = mad(values);
  return spread === null ? null : MAD_TO_SIGMA * spread;
}

/** Between the order statistics, linearly (position (n − 1) p). `null` of none. @param p 0–1. */
export function quantile(values: readonly number[], p: number): number | null {
  // Sorts by value without asking a function back, which is most of what a median costs.
  const sorted = new Float64Array(values).sort();
  const position = (sorted.length - 1) * p;
  const below = sorted[Math.floor(position)];
  const above = sorted[Math.ceil(position)];
  if (below === undefined || above === undefined) return null;
  return below + (above - below) * (position - Math.floor(position));
}
