/** Times in messages: the site's clock with its zone, and how long ago; the date only where it is another day. */
import { MINUTE, showDuration } from '../domain/duration.ts';
import { localParts, showLocal } from '../domain/local-time.ts';

/** `02:10 MST`, or `Tue 24 Nov 2026, 23:40 MST` when that is not today. */
export function showClock(zone: string, atMs: number, nowMs: number): string {
  const full = showLocal(zone, atMs);
  const at = localParts(zone, atMs);
  const now = localParts(zone, nowMs);
  const sameDay = at.year === now.year && at.month === now.month && at.day === now.day;
  return sameDay ? full.slice(full.indexOf(', ') + 2) : full;
}

/** `6 min`, `40 s`, `2 h 5 min`: seconds only under two minutes. */
export function showSpan(ms: number): string {
  const positive = Math.max(0, ms);
  return showDuration(positive >= 2 * MINUTE ? Math.floor(positive / MINUTE) * MINUTE : positive);
}

/** The same without the zone, for lists under a line that names it. */
export function showBareClock(zone: string, atMs: number, nowMs: number): string {
  const clock = showClock(zone, atMs, nowMs);
  return clock.slice(0, clock.lastIndexOf(' '));
}
