/**
 * Where the buckets of a chart begin. Buckets of less than two hours begin at the start of the span and are as wide as the span divided by their number,
 * rounded up to whole milliseconds. Wider ones are whole hours wide and begin on whole hours of UTC, so that they can be made of hours counted
 * before: the first may begin up to an hour before the span, the last may end after it, and both hold only what lies in it.
 */
import { HOUR } from '../domain/duration.ts';

export interface BucketEdges {
  /** Where bucket 0 begins. */
  readonly originMs: number;
  readonly widthMs: number;
  /** Every bucket is made of whole hours of UTC. */
  readonly wholeHours: boolean;
}

/** @returns `null` for no span or no bucket. */
export function bucketEdges(fromMs: number, toMs: number, count: number): BucketEdges | null {
  if (!(toMs > fromMs) || !(count >= 1)) return null;
  // Stamps are whole milliseconds, so rounding both ends up leaves the same readings inside.
  const [from, to, most] = [Math.ceil(fromMs), Math.ceil(toMs), Math.floor(count)];
  const widthMs = Math.max(1, Math.ceil((to - from) / most));
  if (widthMs < 2 * HOUR) return { originMs: from, widthMs, wholeHours: false };
  const originMs = Math.floor(from / HOUR) * HOUR;
  return { originMs, widthMs: Math.ceil((to - originMs) / most / HOUR) * HOUR, wholeHours: true };
}
