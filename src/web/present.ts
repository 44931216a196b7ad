/** What a point is worth right now. A value past its `silentAfterMs`, or behind a gateway that is offline, is never current: it is unknown, with the last one named as such. */
import type { Point } from '../domain/fleet.ts';
import type { LiveView } from '../engine/contract.ts';
import type { Rule } from '../rules/contract.ts';
import { type Limits, limitsOf } from './limits.ts';

export type Present = {
  readonly point: Point;
  readonly limits: Limits;
  /** When an impossible value came after the one that counts; `null`: none did. */
  readonly suspectMs: number | null;
  /** What its gateway says against it (`its gateway … is offline since …`); `null`: nothing, whatever its age. */
  readonly offlineWhy: string | null;
} & (
  | { readonly state: 'current'; readonly value: number; readonly atMs: number; readonly outside: 'low' | 'high' | null }
  | { readonly state: 'stale'; readonly value: number; readonly atMs: number }
  | { readonly state: 'never' }
);

export function presentOf(declared: Point, view: LiveView, rules: readonly Rule[], nowMs: number): Present {
  const point = view.atPresent(declared);
  const limits = limitsOf(point.id, rules);
  const latest = view.latest(point.id);
  const stampMs = view.lastStampMs(point.id);
  const suspectMs = stampMs !== null && (latest === null || stampMs > latest.atMs) ? stampMs : null;
  const offlineWhy = view.offline(point.id);
  if (latest === null) return { point, limits, suspectMs, offlineWhy, state: 'never' };
  const { value, atMs } = latest;
  if (nowMs - atMs > point.silentAfterMs || offlineWhy !== null) return { point, limits, suspectMs, offlineWhy, state: 'stale', value, atMs };
  const outside = limits.low !== null && value < limits.low ? 'low' : limits.high !== null && value > limits.high ? 'high' : null;
  return { point, limits, suspectMs, offlineWhy, state: 'current', value, atMs, outside };
}
