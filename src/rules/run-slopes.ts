/**
 * By how much the water warms or cools while a piece of equipment runs, against while it rests: what losses, lamps and the room do is the same
 * on both sides of a switch, so the difference is what the equipment itself does.
 *
 * A stretch is a run, a rest, or an hour of either where it lasts longer: so the rest that is compared with is the hour before the start, not the night.
 * Changes when the equipment switches, and once an hour.
 */
import { z } from 'zod';
import { HOUR, MINUTE } from '../domain/duration.ts';
import type { Latest } from './contract.ts';

/** A stretch shorter than this tells more about the probe than about the water. */
const LEAST_MS = 20 * MINUTE;
/** Faster is a water change or a probe in the air (1.3 W/L, the upper end of common practice, warm by 1.1 K/h). */
const MOST_K_PER_H = 4;

export const runSlopes = z.strictObject({
  on: z.boolean().nullable(),
  /** This run or rest began, and how warm the water was; `null`: not seen to begin. */
  sinceMs: z.number().nullable(),
  sinceC: z.number().nullable(),
  /** The stretch that runs. */
  markMs: z.number().nullable(),
  markC: z.number().nullable(),
  /** Of the last finished stretch of each sort, and when it ended. */
  onKPerH: z.number().nullable(),
  onMs: z.number().nullable(),
  restKPerH: z.number().nullable(),
  restMs: z.number().nullable(),
});
export type RunSlopes = z.infer<typeof runSlopes>;

export const noSlopes: RunSlopes = { on: null, sinceMs: null, sinceC: null, markMs: null, markC: null, onKPerH: null, onMs: null, restKPerH: null, restMs: null };

/** @returns the same object unless it switched or a stretch is over. */
export function followRun(before: RunSlopes, on: boolean, water: Latest, nowMs: number): RunSlopes {
  const mark = { markMs: nowMs, markC: rounded(water.value) };
  if (before.on === null || before.markMs === null) return { ...before, on, sinceMs: null, sinceC: null, ...mark };
  if (before.on === on && nowMs - before.markMs < HOUR) return before;
  const ended = finish(before, water, nowMs);
  return before.on === on ? { ...ended, ...mark } : { ...ended, on, sinceMs: nowMs, sinceC: mark.markC, ...mark };
}

/** When `followRun` changes next, if it goes on running, or resting, as it does. */
export function stretchEndsMs({ on, markMs }: RunSlopes): number {
  return on === null || markMs === null ? Number.NEGATIVE_INFINITY : markMs + HOUR;
}

/** What happened in a silence is not known: the stretch that ran is dropped. */
export function afterSilence(before: RunSlopes): RunSlopes {
  return before.on === null && before.markMs === null ? before : { ...before, on: null, sinceMs: null, sinceC: null, markMs: null, markC: null };
}

/** Slope of running less slope of resting, K/h, when both are of the last `withinMs`. */
export function effectKPerH({ onKPerH, onMs, restKPerH, restMs }: RunSlopes, nowMs: number, withinMs: number): number | null {
  if (onKPerH === null || onMs === null || restKPerH === null || restMs === null) return null;
  return nowMs - Math.min(onMs, restMs) > withinMs ? null : onKPerH - restKPerH;
}

function finish(before: RunSlopes, water: Latest, nowMs: number): RunSlopes {
  if (before.markMs === null || before.markC === null) return before;
  const ms = nowMs - before.markMs;
  const kPerH = (water.value - before.markC) / (ms / HOUR);
  if (ms < LEAST_MS || Math.abs(kPerH) > MOST_K_PER_H) return before;
  return before.on === true ? { ...before, onKPerH: rounded(kPerH), onMs: nowMs } : { ...before, restKPerH: rounded(kPerH), restMs: nowMs };
}

const rounded = (value: number): number => Math.round(value * 1000) / 1000;
