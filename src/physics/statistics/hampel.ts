/**
 * Spikes: values that lie further from the median of their neighbours than their scatter explains (Hampel).
 *
 * A flat sensor has no scatter (MAD = 0), and every other value would be wild. So the scatter is never taken to be less than `leastSigma`, which the caller
 * knows: the resolution of the instrument, say. Where that is 0 as well, nothing is called a spike: there is no scale to judge by.
 */
import { median, robustSigma } from './median.ts';

export interface HampelOptions {
  /** Neighbours on each side. */
  readonly halfWindow: number;
  /** How many standard deviations are wild; 3 as a rule. */
  readonly width: number;
  readonly leastSigma: number;
}

/** Indices of the spikes, rising. At the ends the window is what there is; windows of fewer than 5 values judge nothing. */
export function spikes(values: readonly number[], { halfWindow, width, leastSigma }: HampelOptions): readonly number[] {
  return values.flatMap((value, i) => {
    const window = values.slice(Math.max(0, i - halfWindow), i + halfWindow + 1);
    return window.length >= LEAST_WINDOW && isWild(value, window, width, leastSigma) ? [i] : [];
  });
}

/** Whether a value is wild against a window of its neighbours (with or without itself). */
export function isWild(value: number, window: readonly number[], width: number, leastSigma: number): boolean {
  const middle = median(window);
  const sigma = Math.max(leastSigma, robustSigma(window) ?? 0);
  return middle !== null && sigma > 0 && Math.abs(value - middle) > width * sigma;
}

const LEAST_WINDOW = 5;
