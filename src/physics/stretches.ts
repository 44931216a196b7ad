/**
 * A series as its medians of two hours over ten days, in stretches: within a stretch values may be compared, across its borders (a refill, a calibration, a
 * water change, a visit) they may not.
 *
 * State is plain JSON of at most 3 kB.
 */
import { HOUR } from '../domain/duration.ts';
import { median } from './statistics/median.ts';
import type { Pair } from './statistics/theil-sen.ts';

/** Hours since 1970 at which its two hours begin, the median, the number of its stretch. */
export type Bin = readonly [hour: number, value: number, stretch: number];

export interface Stretches {
  /** Oldest first. */
  readonly bins: readonly Bin[];
  readonly open: { readonly hour: number; readonly values: readonly number[]; readonly disturbed: boolean } | null;
}

export const stretchesStart: Stretches = { bins: [], open: null };

export const BIN_HOURS = 2;
const BINS_KEPT = 120;
const READINGS_KEPT = 24;

/**
 * One reading. At most 24 readings of two hours are kept (others are passed over), so any cadence will do. Readings older than the open bin change nothing.
 * @param disturbed somebody is at the tank, or the reading is in doubt: a new stretch begins.
 * @param isBreak whether a bin that follows the others after `hours` begins a new stretch by its value.
 */
export function rememberValue(memory: Stretches, atMs: number, value: number, disturbed: boolean, isBreak: (value: number, hours: number, bins: readonly Bin[]) => boolean = never): Stretches {
  const hour = Math.floor(atMs / (BIN_HOURS * HOUR)) * BIN_HOURS;
  const { open } = memory;
  if (open === null || hour > open.hour) {
    return { bins: open === null ? memory.bins : closed(memory.bins, open, isBreak), open: { hour, values: [value], disturbed } };
  }
  const full = open.values.length >= READINGS_KEPT;
  if (hour < open.hour || (full && (open.disturbed || !disturbed))) return memory;
  return { ...memory, open: { hour, values: full ? open.values : [...open.values, value], disturbed: open.disturbed || disturbed } };
}

/** Points by stretch, x in hours; stretches shorter than `leastHours` tell nothing. */
export function pointsOf(bins: readonly Bin[], leastHours: number): readonly (readonly Pair[])[] {
  const byNumber = new Map<number, Pair[]>();
  for (const [hour, value, stretch] of bins) {
    const found = byNumber.get(stretch);
    if (found === undefined) byNumber.set(stretch, [{ x: hour, y: value }]);
    else found.push({ x: hour, y: value });
  }
  return [...byNumber.values()].filter((stretch) => hoursOf(stretch) >= leastHours);
}

export function hoursOf(points: readonly Pair[]): number {
  const first = points[0];
  const last = points.at(-1);
  return first === undefined || last === undefined ? 0 : last.x - first.x;
}

function closed(bins: readonly Bin[], open: NonNullable<Stretches['open']>, isBreak: (value: number, hours: number, bins: readonly Bin[]) => boolean): readonly Bin[] {
  const value = median(open.values);
  if (value === null) return bins;
  const rounded = Number(value.toFixed(4)) + 0;
  const last = bins.at(-1);
  if (last === undefined) return [[open.hour, rounded, 0]];
  const [hour, , stretch] = last;
  const breaks = open.disturbed || isBreak(rounded, open.hour - hour, bins);
  return [...bins, [open.hour, rounded, breaks ? stretch + 1 : stretch] as const].slice(-BINS_KEPT);
}

const never = (): boolean => false;
