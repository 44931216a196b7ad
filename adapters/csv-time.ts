/** The time cell of a CSV row: RFC 3339, epoch numbers, spreadsheet dates, or the local times loggers write. What is ambiguous is asked for, never guessed. */
import { instantOf } from '../src/domain/local-time.ts';
import { readSerialTime } from './csv-spreadsheet-time.ts';
import { daysInMonth, parseRfc3339 } from './rfc3339.ts';
import { readSourceTime } from './source-time.ts';

export const csvDateOrders = ['ymd', 'dmy', 'mdy'] as const;
export const csvTimeFormats = ['s', 'ms', 'spreadsheet'] as const;
export const csvOverlaps = ['refuse', 'in-order', 'earlier', 'later'] as const;

export interface CsvTimeOptions {
  /** Order of day and month in dates such as 03/04/2026. Dates that begin with a year of four digits, or name the month, need none. */
  readonly dateOrder?: (typeof csvDateOrders)[number] | undefined;
  /** IANA zone of times that carry no offset. */
  readonly timeZone?: string | undefined;
  /** The same where neither a person nor the header of the file says another: that of the site. */
  readonly siteZone?: string | undefined;
  /** For bare numbers: seconds or milliseconds since 1970, or days as spreadsheets count them. */
  readonly timeFormat?: (typeof csvTimeFormats)[number] | undefined;
  /**
   * When clocks go back, one hour of local times happens twice. `refuse` (the default) refuses those rows; `in-order` takes the first
   * pass until the times of a series jump back; `earlier` and `later` take all of them as the first or the second pass.
   */
  readonly overlap?: (typeof csvOverlaps)[number] | undefined;
}

export type CsvTime =
  | { readonly ok: true; readonly atMs: number }
  | CsvTimeRefusal;

export interface CsvTimeRefusal {
  readonly ok: false;
  readonly reason: string;
  /** The option that would make it readable: then nothing in the file can be read without it. */
  readonly missing?: 'dateOrder' | 'timeZone' | 'timeFormat';
  /** A local time that does not exist, or happened twice. */
  readonly change?: 'gap' | 'overlap';
}

/** @param series whose row it is: only `in-order` needs to know. */
export type CsvTimeReader = (text: string, series?: string) => CsvTime;

const local = /^(\d{1,4})([-./])(\d{1,2})\2(\d{1,4})(?:[T ,]+(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,](\d{1,9}))?)?\s*([AaPp]\.?[Mm]\.?)?)?$/;
const named = /^(\d{1,2})[-\s./]+([A-Za-z]{3,9})[-\s./,]+(\d{4}|\d{2})(?:[T ,]+(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,](\d{1,9}))?)?\s*([AaPp]\.?[Mm]\.?)?)?$/;
const zoned = /^\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d:\d\d(\.\d+)?([Zz]|[+-]\d\d:\d\d)$/;
const bareNumber = /^[+-]?\d+(\.\d+)?$/;
const serialPair = /^\d{5}\s+0?\.\d+$/;
const months = ['january', 'february', 'march', 'april', 'may', 'june', 'july', 'august', 'september', 'october', 'november', 'december'];

export function csvTimeReader(options: CsvTimeOptions): CsvTimeReader {
  const instant = instantReader(options);
  const slow = (text: string, series: string): CsvTime => {
    if (text === '') return refuse('the time is missing');
    if (zoned.test(text)) return parseRfc3339(text);
    const number = options.timeFormat === 'spreadsheet' ? text.replaceAll(',', '.') : text;
    if (bareNumber.test(number) || serialPair.test(number)) return readNumber(number, options, instant, series);
    const numeric = local.exec(text);
    if (numeric !== null) return readLocal(text, partsOf(numeric), options, instant, series);
    const worded = named.exec(text);
    const month = worded === null ? 0 : monthOf(worded[2] ?? '');
    if (worded !== null && month > 0) {
      const [, day = '', , year = '', ...clock] = worded;
      return readLocal(text, { a: year.length === 2 ? `20${year}` : year, b: String(month), c: day, clock }, options, instant, series);
    }
    return refuse(`"${text.slice(0, 40)}" is no time; write it like 2026-03-04T15:30:00Z, or 2026-03-04 15:30 with a time zone set`);
  };
  return options.overlap === 'in-order' ? (raw, series = '') => slow(raw.trim(), series) : withinTheMinute(slow);
}

/**
 * @param label of the time column: `Time (UTC)` says the zone. One that says an offset (`GMT-07:00`) contradicts any other zone that nobody has chosen,
 * so there has to be a choice.
 */
export function zoneOf({ timeZone, siteZone }: CsvTimeOptions, label: string): string | undefined {
  if (timeZone !== undefined) return timeZone;
  const named = /(?:^|[^a-z])(?:utc|gmt)(?![a-z])(\s*[-+−]\s*\d)?/i.exec(label);
  return named === null ? siteZone : named[1] === undefined ? 'UTC' : undefined;
}

/** Does a cell look like a time of any kind this file reads? Bare numbers do not: they could be values. */
export function looksLikeTime(text: string): boolean {
  const trimmed = text.trim();
  return zoned.test(trimmed) || local.test(trimmed) || (named.test(trimmed) && monthOf(named.exec(trimmed)?.[2] ?? '') > 0) || /^\d{1,2}:\d{2}(:\d{2})?/.test(trimmed);
}

/** The three parts of a date whose order is not plain, or `null`: what the order could be told from. */
export function openDate(text: string): readonly [string, string, string] | null {
  const match = local.exec(text.trim());
  if (match === null || match[1]?.length === 4) return null;
  return [match[1] ?? '', match[3] ?? '', match[4] ?? ''];
}

const refuse = (reason: string, more: Omit<CsvTimeRefusal, 'ok' | 'reason'> = {}): CsvTime => ({ ok: false, reason, ...more });

/**
 * Rows come in order, many within one minute: when only the seconds differ from the text before, only the seconds are read.
 * No zone changes its offset within a minute.
 */
function withinTheMinute(slow: (text: string, series: string) => CsvTime): CsvTimeReader {
  let before = '';
  let behind = '';
  let length = -1;
  let minuteMs = Number.NaN;
  return (raw) => {
    const text = raw.trim();
    if (text.length === length && text.startsWith(before) && text.endsWith(behind)) {
      const tens = text.charCodeAt(before.length) - 48;
      const ones = text.charCodeAt(before.length + 1) - 48;
      if (tens >= 0 && tens < 6 && ones >= 0 && ones < 10) return { ok: true, atMs: minuteMs + (tens * 10 + ones) * 1000 };
    }
    const read = slow(text, '');
    const parts = read.ok ? /^(.*\d{1,2}:\d\d:)([0-5]\d)(\D.*)?$/.exec(text) : null;
    if (read.ok && parts !== null) {
      [, before = ''] = parts;
      behind = parts[3] ?? '';
      ({ length } = text);
      minuteMs = read.atMs - Number(parts[2]) * 1000;
    }
    return read;
  };
}

function readNumber(text: string, options: CsvTimeOptions, instant: InstantReader, series: string): CsvTime {
  const { timeFormat, timeZone } = options;
  if (timeFormat === undefined) return refuse(`the time ${text} is a bare number; set timeFormat: s, ms (seconds or milliseconds since 1970) or spreadsheet (days since 1900)`, { missing: 'timeFormat' });
  if (timeFormat !== 'spreadsheet') {
    const read = readSourceTime(text, timeFormat);
    return read.ok && Math.abs(read.atMs) > LATEST_MS ? refuse(`the time ${text} is out of all bounds`) : read;
  }
  const serial = readSerialTime(text);
  if (!serial.ok) return refuse(serial.reason);
  if (timeZone === undefined) return needsZone(text);
  const found = instant(Math.floor(serial.wallMs / 1000) * 1000, series);
  return typeof found === 'number' ? { ok: true, atMs: found + (((serial.wallMs % 1000) + 1000) % 1000) } : refuse(`"${text}" ${found.why}`, { change: found.change });
}

/** Of a date that can be written at all (ECMA-262 §21.4.1.1, from memory). */
const LATEST_MS = 8.64e15;

const needsZone = (text: string): CsvTime => refuse(`the time "${text}" does not say its time zone; set timeZone: an IANA zone such as America/Denver`, { missing: 'timeZone' });

/** `a`, `b`, `c`: the date as written; `clock`: hour, minute, second, fraction, half of the day. */
interface WrittenTime {
  readonly a: string;
  readonly b: string;
  readonly c: string;
  readonly clock: readonly (string | undefined)[];
}

function partsOf(match: RegExpExecArray): WrittenTime {
  const [, a = '', , b = '', c = '', ...clock] = match;
  return { a, b, c, clock };
}

function readLocal(text: string, { a, b, c, clock }: WrittenTime, options: CsvTimeOptions, instant: InstantReader, series: string): CsvTime {
  const [hourText, minuteText = '0', secondText = '0', fraction, half] = clock;
  const order = a.length === 4 ? 'ymd' : options.dateOrder;
  if (order === undefined) return refuse(`the date in "${text}" could be read in several ways; set dateOrder: dmy, mdy or ymd${orderHint(a, b, c)}`, { missing: 'dateOrder' });
  const [yearText, monthText, dayText] = order === 'ymd' ? [a, b, c] : order === 'dmy' ? [c, b, a] : [c, a, b];
  if ((yearText.length !== 4 && yearText.length !== 2) || monthText.length > 2 || dayText.length > 2) return refuse(`"${text}" is no date in the order ${order}`);
  const year = yearText.length === 2 ? 2000 + Number(yearText) : Number(yearText);
  const month = Number(monthText);
  const day = Number(dayText);
  const hour = hourText === undefined ? 0 : hour24(Number(hourText), half);
  const minute = Number(minuteText);
  const second = Number(secondText);
  if (month < 1 || month > 12 || day < 1 || day > daysInMonth(year, month)) return refuse(`"${text}" is no date that exists when read in the order ${order}`);
  if (hour === null || hour > 23 || minute > 59 || second > 59) return refuse(`"${text}" is no time of day that exists`);
  if (options.timeZone === undefined) return needsZone(text);
  const fractionMs = fraction === undefined ? 0 : Math.round(Number(`0.${fraction}`) * 1000);
  const found = instant(Date.UTC(year, month - 1, day, hour, minute, second), series);
  if (typeof found !== 'number') return refuse(`"${text}" ${found.why}`, { change: found.change });
  return { ok: true, atMs: found + fractionMs };
}

function orderHint(a: string, b: string, c: string): string {
  // A year of four digits at the end stands at the end.
  const yearLast = c.length === 4 || Number(c) > 31;
  if (Number(a) > 12) return yearLast ? ' (it can only be dmy)' : ' (it can only be dmy or ymd)';
  return Number(b) > 12 ? ' (it can only be mdy)' : '';
}

/** English names, whole or the first three letters. 0: no month. */
function monthOf(name: string): number {
  const lower = name.toLowerCase();
  return 1 + months.findIndex((month) => month === lower || month.slice(0, 3) === lower || (lower === 'sept' && month === 'september'));
}

/** `null`: no hour of a 12-hour clock. */
function hour24(hour: number, half: string | undefined): number | null {
  if (half === undefined) return hour;
  if (hour < 1 || hour > 12) return null;
  return (hour % 12) + (half.toLowerCase().startsWith('p') ? 12 : 0);
}

/** @param wallMs what the clock on the wall shows, as if it were UTC. */
type InstantReader = (wallMs: number, series: string) => number | { readonly why: string; readonly change: 'gap' | 'overlap' };

/** `Intl` is slow; rows come in order, so the offset of a quarter of an hour is remembered when it holds from end to end. */
function instantReader({ timeZone = 'UTC', overlap = 'refuse' }: CsvTimeOptions): InstantReader {
  let quarterStart = Number.NaN;
  let quarterOffset: number | null = null;
  const lastOf = new Map<string, number>();
  const offsetOf = (wallMs: number): number | null => {
    const found = instantOf(timeZone, wallParts(wallMs));
    return found.kind === 'one' ? wallMs - found.atMs : null;
  };
  const find: InstantReader = (wallMs, series) => {
    const start = wallMs - (((wallMs % QUARTER_MS) + QUARTER_MS) % QUARTER_MS);
    if (start !== quarterStart) {
      const offset = offsetOf(start);
      quarterOffset = offset !== null && offset === offsetOf(start + QUARTER_MS - 1000) ? offset : null;
      quarterStart = start;
    }
    if (quarterOffset !== null) return wallMs - quarterOffset;
    const found = instantOf(timeZone, wallParts(wallMs));
    if (found.kind === 'one') return found.atMs;
    if (found.kind === 'gap') return { why: `does not exist in ${timeZone}: the clocks went forward over it`, change: 'gap' };
    switch (overlap) {
      case 'refuse': return { why: `happened twice in ${timeZone}: the clocks went back; write times with an offset, or set overlap: in-order, earlier or later`, change: 'overlap' };
      case 'earlier': return found.firstMs;
      case 'later': return found.secondMs;
      case 'in-order': {
        const last = lastOf.get(series);
        // Later than the first pass but not than the second: the clocks have gone back. Later than both: the file itself went back.
        return last !== undefined && last >= found.firstMs && last < found.secondMs ? found.secondMs : found.firstMs;
      }
    }
  };
  if (overlap !== 'in-order') return find;
  return (wallMs, series) => {
    const found = find(wallMs, series);
    if (typeof found === 'number' && (lastOf.has(series) || lastOf.size < MAX_SERIES)) lastOf.set(series, found);
    return found;
  };
}

const QUARTER_MS = 15 * 60_000;
const MAX_SERIES = 10_000;

function wallParts(wallMs: number): Parameters<typeof instantOf>[1] {
  const date = new Date(wallMs);
  return { year: date.getUTCFullYear(), month: date.getUTCMonth() + 1, day: date.getUTCDate(), hour: date.getUTCHours(), minute: date.getUTCMinutes(), second: date.getUTCSeconds() };
}
