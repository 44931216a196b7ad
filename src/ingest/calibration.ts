/**
 * Calibration: what a sensor says against what is true. Raw readings are stored as they came and never rewritten; everything that reads
 * them (rules, charts, exports) sees them through this.
 *
 * One point gives an offset. Two points give the straight line through (measured₁, true₁) and (measured₂, true₂), as in the two-buffer
 * calibration of a pH electrode: slope = (true₂ − true₁) / (measured₂ − measured₁), offset = true₁ − slope · measured₁.
 */
import type { Calibration } from '../domain/calibration.ts';

/** Calibrations of one point, by the time from which they are in force. */
export type Curve = readonly Pick<Calibration, 'fromMs' | 'slope' | 'offset'>[];

export type Line = Pick<Calibration, 'slope' | 'offset'>;

/** A slope outside of this is a slip of the pen. Below zero: a sensor that measures from the other end. */
const slopeBound = [0.01, 100] as const;

export function fromOffset(measured: number, trueValue: number): Line {
  return { slope: 1, offset: tidy(trueValue - measured) };
}

/** @returns why no line goes through the two, in words. */
export function fromTwoPoints(first: Pair, second: Pair): Line | { readonly wrong: string } {
  if (first.measured === second.measured) return { wrong: 'both were measured as the same: two different solutions or temperatures are needed' };
  const slope = tidy((second.trueValue - first.trueValue) / (second.measured - first.measured));
  if (Math.abs(slope) < slopeBound[0] || Math.abs(slope) > slopeBound[1]) return { wrong: `the slope would be ${slope}: check the four numbers` };
  return { slope, offset: tidy(first.trueValue - slope * first.measured) };
}

export interface Pair {
  readonly measured: number;
  readonly trueValue: number;
}

/** The value as calibrated at its time; as it is before the first calibration. */
export function calibrate(curve: Curve, atMs: number, raw: number): number {
  const line = lineAt(curve, atMs);
  return line === null ? raw : tidy(raw * line.slope + line.offset);
}

export function lineAt(curve: Curve, atMs: number): Line | null {
  for (let at = curve.length - 1; at >= 0; at -= 1) {
    const line = curve[at];
    if (line !== undefined && line.fromMs <= atMs) return line;
  }
  return null;
}

/** By point, each in order of time. */
export function curvesOf(calibrations: readonly Calibration[]): ReadonlyMap<string, readonly Calibration[]> {
  const curves = new Map<string, Calibration[]>();
  for (const one of calibrations) curves.set(one.pointId, [...(curves.get(one.pointId) ?? []), one]);
  for (const curve of curves.values()) curve.sort((a, b) => a.fromMs - b.fromMs);
  return curves;
}

/** Twelve significant digits: more than any sensor has, and fewer than binary noise needs. */
const tidy = (value: number): number => Number(value.toPrecision(12)) + 0;
