/** Times and ages as people read them. A time is always shown with its zone; an age in words. */
import { MINUTE, SECOND, showDuration } from '../domain/duration.ts';

/** `14:02 MST` today, `24 Nov, 14:02 MST` this year, else with the year. */
export function showTime(atMs: number, zone: string, nowMs: number): string {
  const at = partsIn(zone, atMs);
  const now = partsIn(zone, nowMs);
  const time = `${at.hour}:${at.minute} ${at.timeZoneName}`;
  if (at.year !== now.year) return `${at.day} ${at.month} ${at.year}, ${time}`;
  if (at.month !== now.month || at.day !== now.day) return `${at.day} ${at.month}, ${time}`;
  return time;
}

/** `24 Nov 2026, 14:02:31 MST`: for records. */
export function showFullTime(atMs: number, zone: string): string {
  const at = partsIn(zone, atMs);
  return `${at.day} ${at.month} ${at.year}, ${at.hour}:${at.minute}:${at.second} ${at.timeZoneName}`;
}

/** `just now`, `40 s ago`, `2 h 5 min ago`. */
export function showAge(atMs: number, nowMs: number): string {
  const ageMs = nowMs - atMs;
  return ageMs < 5 * SECOND ? 'just now' : `${showDuration(coarse(ageMs))} ago`;
}

/** `for 2 h 5 min`. */
export function showSince(atMs: number, nowMs: number): string {
  return showDuration(coarse(Math.max(0, nowMs - atMs)));
}

/** `2026-11-25T14:02:31.000Z`: the machine-readable form beside the words. */
export function iso(atMs: number): string {
  return new Date(atMs).toISOString();
}

/** Above two minutes nobody needs the seconds. */
const coarse = (ms: number): number => (ms > 2 * MINUTE ? Math.floor(ms / MINUTE) * MINUTE : ms);

type Part = 'year' | 'month' | 'day' | 'hour' | 'minute' | 'second' | 'timeZoneName';

/** Making a formatter costs a hundred times more than using it; there are as many as there are zones. */
const formatters = new Map<string, Intl.DateTimeFormat>();

function partsIn(zone: string, atMs: number): Record<Part, string> {
  let formatter = formatters.get(zone);
  if (formatter === undefined) {
    formatter = new Intl.DateTimeFormat('en-US', {
      timeZone: zone, hourCycle: 'h23', year: 'numeric', month: 'short', day: 'numeric', hour: '2-digit', minute: '2-digit', second: '2-digit', timeZoneName: 'short',
    });
    formatters.set(zone, formatter);
  }
  const parts: Record<Part, string> = { year: '', month: '', day: '', hour: '', minute: '', second: '', timeZoneName: '' };
  for (const { type, value } of formatter.formatToParts(atMs)) {
    if (Object.hasOwn(parts, type)) parts[type as Part] = value;
  }
  return parts;
}
