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
  const sorted = sortedOf(values);
  const position = (sorted.length - 1) * p;
  const below = sorted[Math.floor(position)];
  const above = sorted[Math.ceil(position)];
  if (below === undefined || above === undefined) return null;
  return below + (above - below) * (position - Math.floor(position));
}

/** What costs least: a short list by hand, a longer one by value, without asking a function back. What is no number comes last. */
function sortedOf(values: readonly number[]): ArrayLike<number> {
  if (values.length > SHORT || values.some(Number.isNaN)) return new Float64Array(values).sort();
  const sorted: number[] = [];
  for (const value of values) {
    let at = sorted.length;
    for (let before = sorted[at - 1]; before !== undefined && before > value; before = sorted[at - 1]) {
      sorted[at] = before;
      at -= 1;
    }
    sorted[at] = value;
  }
  return sorted;
}

const SHORT = 16;
