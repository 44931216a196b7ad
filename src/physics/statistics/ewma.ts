/**
 * Exponentially weighted moving average: follows slowly, forgets slowly.
 *
 * Source: NIST/SEMATECH e-Handbook of Statistical Methods 6.3.2.4; Montgomery, Introduction to Statistical Quality Control.
 */

/** One step. @param weight of the new value, 0–1. @param before `null`: the new value is the first. */
export function ewma(before: number | null, value: number, weight: number): number {
  return before === null ? value : before + weight * (value - before);
}

/** The same for readings at any spacing: the weight of a value that stood for `elapsedMs` against a memory of `memoryMs`. */
export function weightOf(elapsedMs: number, memoryMs: number): number {
  return 1 - Math.exp(-Math.max(0, elapsedMs) / memoryMs);
}

export interface Limits {
  readonly low: number;
  readonly high: number;
}

/**
 * Control limits of an EWMA of independent values. @param sigma of one value. @param width in standard deviations of the EWMA, 3 as a rule.
 * @param count values taken since the start; `Infinity`, by default, for the limits it settles at.
 */
export function ewmaLimits(target: number, sigma: number, weight: number, width: number, count = Number.POSITIVE_INFINITY): Limits {
  const reach = width * sigma * Math.sqrt((weight / (2 - weight)) * (1 - (1 - weight) ** (2 * count)));
  return { low: target - reach, high: target + reach };
}
