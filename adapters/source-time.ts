/** The time a source sends with a value, in the format declared for it. Numbers are never guessed: 1 700 000 000 000 could be two things. */
import { parseRfc3339, type TimeText } from './rfc3339.ts';

export const timeFormats = ['rfc3339', 's', 'ms', 'us'] as const;
export type TimeFormat = (typeof timeFormats)[number];

const perMs: Record<Exclude<TimeFormat, 'rfc3339'>, number> = { s: 1000, ms: 1, us: 0.001 };

/** An epoch number that only makes sense in another format was declared wrongly; any other odd one is a clock that was never set. */
const EARLIEST_MS = Date.UTC(2000, 0, 1);
const LATEST_MS = Date.UTC(2100, 0, 1);

/** @param format `null`: texts are RFC 3339, numbers are refused with what to declare. */
export function readSourceTime(raw: number | string, format: TimeFormat | null): TimeText {
  if (format === 'rfc3339' || (format === null && typeof raw === 'string' && !isNumeric(raw))) {
    return typeof raw === 'string' ? parseRfc3339(raw) : refuse(`the time ${raw} is a number, but timeFormat: rfc3339 was declared`);
  }
  if (format === null) return refuse(`the time ${raw} is a number; write timeFormat: s, ms or us (seconds, milliseconds or microseconds since 1970)${likely(Number(raw))}`);
  if (typeof raw === 'string' && !isNumeric(raw)) return refuse(`the time "${raw.slice(0, 40)}" is no number, but timeFormat: ${format} was declared`);
  // Rounded once, after scaling: 1276020076.001 s is 1276020076001 ms (RFC 8428 §5.1.2 shows such a time).
  const atMs = Math.round(Number(raw) * perMs[format]);
  if (!Number.isSafeInteger(atMs)) return refuse(`the time ${raw} is out of all bounds`);
  const hint = atMs < EARLIEST_MS || atMs >= LATEST_MS ? likely(Number(raw)) : '';
  if (hint !== '') return refuse(`the time ${raw} lies outside of 2000–2099 when read as timeFormat: ${format}${hint}`);
  // A clock that was never set: whoever takes the sample in knows what to do with such a stamp.
  return { ok: true, atMs };
}

const refuse = (reason: string): TimeText => ({ ok: false, reason });

const isNumeric = (text: string): boolean => /^\s*[+-]?\d+(\.\d+)?([eE][+-]?\d+)?\s*$/.test(text);

function likely(value: number): string {
  for (const format of ['s', 'ms', 'us'] as const) {
    const atMs = value * perMs[format];
    if (atMs >= EARLIEST_MS && atMs < LATEST_MS) return `; it looks like ${format}`;
  }
  return '';
}
