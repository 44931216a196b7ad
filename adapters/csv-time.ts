/** The time cell of a CSV row: RFC 3339, epoch numbers, or the local times loggers write. What is ambiguous is asked for, never guessed. */
import { instantOf } from '../src/domain/local-time.ts';
import { daysInMonth, parseRfc3339 } from './rfc3339.ts';
import { readSourceTime } from './source-time.ts';

export interface CsvTimeOptions {
  /** Order of day and month in dates such as 03/04/2026. Dates that begin with a year of four digits need none. */
  readonly dateOrder?: 'dmy' | 'mdy' | 'ymd' | undefined;
  /** IANA zone of times that carry no offset. */
  readonly timeZone?: string | undefined;
  /** For bare numbers: seconds or milliseconds since 1970. */
  readonly timeFormat?: 's' | 'ms' | undefined;
  /**
   * When clocks go back, one hour of local times happens twice. `refuse` (the default) refuses those rows; `earlier` and `later`
   * take the first and the second pass.
   */
  readonly overlap?: 'refuse' | 'earlier' | 'later' | undefined;
}

export type CsvTime =
  | { readonly ok: true; readonly atMs: number }
  /** `missing` names the option that would make it readable: then nothing in the file can be read without it. */
  | { readonly ok: false; readonly reason: string; readonly missing?: 'dateOrder' | 'timeZone' | 'timeFormat' };

const local = /^(\d{1,4})([-./])(\d{1,2})\2(\d{1,4})(?:[T ,]+(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,](\d{1,9}))?)?\s*([AaPp]\.?[Mm]\.?)?)?$/;

export function csvTimeReader(options: CsvTimeOptions): (text: string) => CsvTime {
  const instant = cachedInstant(options);
  return (raw) => {
    const text = raw.trim();
    if (text === '') return refuse('the time is missing');
    if (/^[+-]?\d+(\.\d+)?$/.test(text)) return readNumber(text, options.timeFormat);
    if (/^\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d:\d\d(\.\d+)?([Zz]|[+-]\d\d:\d\d)$/.test(text)) return parseRfc3339(text);
    const match = local.exec(text);
    if (match === null) return refuse(`"${text.slice(0, 40)}" is no time; write it like 2026-03-04T15:30:00Z, or 2026-03-04 15:30 with a time zone set`);
    return readLocal(text, match, options, instant);
  };
}

const refuse = (reason: string, missing?: 'dateOrder' | 'timeZone' | 'timeFormat'): CsvTime => (missing === undefined ? { ok: false, reason } : { ok: false, reason, missing });

function readNumber(text: string, timeFormat: CsvTimeOptions['timeFormat']): CsvTime {
  if (timeFormat !== undefined) return readSourceTime(text, timeFormat);
  return refuse(`the time ${text} is a bare number; set timeFormat: s or ms (seconds or milliseconds since 1970)`, 'timeFormat');
}

function readLocal(text: string, match: RegExpExecArray, options: CsvTimeOptions, instant: InstantReader): CsvTime {
  const [, a = '', , b = '', c = '', hourText, minuteText = '0', secondText = '0', fraction, half] = match;
  const order = a.length === 4 ? 'ymd' : options.dateOrder;
  if (order === undefined) return refuse(`the date in "${text}" could be read in several ways; set dateOrder: dmy, mdy or ymd${orderHint(a, b)}`, 'dateOrder');
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
  if (options.timeZone === undefined) return refuse(`the time "${text}" does not say its time zone; set timeZone: an IANA zone such as America/Denver`, 'timeZone');
  const fractionMs = fraction === undefined ? 0 : Math.round(Number(`0.${fraction}`) * 1000);
  const found = instant({ year, month, day, hour, minute, second });
  if (typeof found !== 'number') return refuse(`"${text}" ${found.why}`);
  return { ok: true, atMs: found + fractionMs };
}

function orderHint(a: string, b: string): string {
  if (Number(a) > 12) return ' (it can only be dmy or ymd)';
  return Number(b) > 12 ? ' (it can only be mdy)' : '';
}

/** `null`: no hour of a 12-hour clock. */
function hour24(hour: number, half: string | undefined): number | null {
  if (half === undefined) return hour;
  if (hour < 1 || hour > 12) return null;
  return (hour % 12) + (half.toLowerCase().startsWith('p') ? 12 : 0);
}

type LocalTime = Parameters<typeof instantOf>[1];
type InstantReader = (time: LocalTime) => number | { readonly why: string };

/** `Intl` is slow; rows come in order, so the offset of a quarter of an hour is remembered when it holds from end to end. */
function cachedInstant({ timeZone = 'UTC', overlap = 'refuse' }: CsvTimeOptions): InstantReader {
  let quarterStart = Number.NaN;
  let quarterOffset: number | null = null;
  const offsetOf = (asUtc: number): number | null => {
    const found = instantOf(timeZone, partsOf(asUtc));
    return found.kind === 'one' ? asUtc - found.atMs : null;
  };
  return (time) => {
    const asUtc = Date.UTC(time.year, time.month - 1, time.day, time.hour, time.minute, time.second);
    const start = asUtc - (asUtc % QUARTER_MS);
    if (start !== quarterStart) {
      const offset = offsetOf(start);
      quarterOffset = offset !== null && offset === offsetOf(start + QUARTER_MS - 1000) ? offset : null;
      quarterStart = start;
    }
    if (quarterOffset !== null) return asUtc - quarterOffset;
    const found = instantOf(timeZone, time);
    if (found.kind === 'one') return found.atMs;
    if (found.kind === 'gap') return { why: `does not exist in ${timeZone}: the clocks went forward over it` };
    if (overlap === 'refuse') return { why: `happened twice in ${timeZone}: the clocks went back; write times with an offset, or set overlap: earlier or later` };
    return overlap === 'earlier' ? found.firstMs : found.secondMs;
  };
}

const QUARTER_MS = 15 * 60_000;

function partsOf(asUtc: number): LocalTime {
  const date = new Date(asUtc);
  return { year: date.getUTCFullYear(), month: date.getUTCMonth() + 1, day: date.getUTCDate(), hour: date.getUTCHours(), minute: date.getUTCMinutes(), second: date.getUTCSeconds() };
}
