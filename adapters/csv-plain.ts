/**
 * The fast way through lines that a logger has written: no quotes, as many cells as the header, one time cell like `2026-03-04T15:30:00.250Z`, series
 * names and units without blanks around them. It works on character codes by index and makes no text of a cell that it can do without.
 *
 * What it does not take (another way to write the time, a wrong number of cells, an impossible date) it leaves to the long way in `csv.ts`, line by
 * line, and a cell that is no plain number cell by cell; so all that can be refused, asked or said about a file is decided there. What it does take it
 * must read exactly as the long way does: `tests/adapters/csv-plain.test.ts` holds them against each other.
 */
import { endianness } from 'node:os';
import type { CsvSource } from './csv-readings.ts';
import { parseRfc3339 } from './rfc3339.ts';

/** Texts are handed over in the order of their bytes in memory; there is no such machine of the other order in sight. */
export const isPlainReadable = endianness() === 'LE';

/** UTF-16 codes of a text: reading them from an array is several times faster than from the text. */
export class Codes {
  #bytes = Buffer.alloc(0);
  #codes = new Uint16Array();

  /** @returns the codes, good until the next call; behind them lies what came before. */
  of(text: string): Uint16Array {
    if (this.#codes.length < text.length) {
      this.#codes = new Uint16Array(2 * text.length);
      this.#bytes = Buffer.from(this.#codes.buffer);
    }
    this.#bytes.write(text, 'utf16le');
    return this.#codes;
  }
}

/**
 * Cuts the line that begins at `start` and ends in a line feed.
 * @param edges takes where each of the first cells begins, and one past the separator (or line feed) that ends the last: cell i is `edges[i]` up to,
 * not including, `edges[i + 1] - 1`.
 * @returns how many cells there are.
 */
export function cutPlainLine(codes: Uint16Array, start: number, delimiter: number, edges: Int32Array): number {
  let count = 0;
  edges[0] = start;
  for (let at = start; ; at += 1) {
    const code = codes[at];
    if (code === delimiter) edges[(count += 1)] = at + 1;
    else if (code === LINE_FEED || code === undefined) {
      edges[count + 1] = at + 1;
      return count + 1;
    }
  }
}

const LINE_FEED = 10;
const ZERO = 48;
const MINUS = 45;

/** Powers of ten up to here, and whole numbers of that many digits, are exact doubles, so their quotient is the double nearest to the decimal. */
const EXACT_DIGITS = 15;
const powers = Float64Array.from({ length: EXACT_DIGITS + 1 }, (_, digits) => Number(`1e${digits}`));

/** `-?\d+(\.\d+)?` of at most 15 digits in all. @param mark code of the decimal mark. @returns NaN for anything else, never −0. */
export function plainNumber(codes: Uint16Array, start: number, end: number, mark: number): number {
  const isNegative = codes[start] === MINUS;
  let at = isNegative ? start + 1 : start;
  if (end - at > EXACT_DIGITS + 1) return Number.NaN;
  const first = at;
  let whole = 0;
  let markAt = -1;
  for (; at < end; at += 1) {
    const code = codes[at] ?? 0;
    const digit = code - ZERO;
    if (digit >= 0 && digit <= 9) whole = whole * 10 + digit;
    else if (code === mark && markAt < 0 && at > first) markAt = at;
    else return Number.NaN;
  }
  const decimals = markAt < 0 ? 0 : end - markAt - 1;
  const digits = end - first - (markAt < 0 ? 0 : 1);
  if (digits < 1 || digits > EXACT_DIGITS || (markAt >= 0 && decimals === 0)) return Number.NaN;
  const value = decimals === 0 ? whole : whole / (powers[decimals] ?? Number.NaN);
  return isNegative && value !== 0 ? -value : value;
}

/** `2026-03-04T15:30:00Z`, with up to three decimals of the second. Rows come in order, so a date is looked at once. */
export class PlainTimes {
  #date = -1;
  #dayMs = Number.NaN;

  /** @returns NaN for anything else, and for times that do not exist. */
  read(codes: Uint16Array, text: string, start: number, end: number): number {
    const length = end - start;
    if (length < 20 || length > 24 || length === 21 || codes[end - 1] !== 90 || codes[start + 10] !== 84) return Number.NaN;
    if (codes[start + 4] !== MINUS || codes[start + 7] !== MINUS || codes[start + 13] !== 58 || codes[start + 16] !== 58) return Number.NaN;
    // A pair that is no two digits is NaN, and so is all that is made of it.
    const date = pair(codes, start) * 1_000_000 + pair(codes, start + 2) * 10_000 + pair(codes, start + 5) * 100 + pair(codes, start + 8);
    const hour = pair(codes, start + 11);
    const minute = pair(codes, start + 14);
    const second = pair(codes, start + 17);
    if (!(hour < 24 && minute < 60 && second < 60 && date >= 0)) return Number.NaN;
    if (date !== this.#date) {
      const day = parseRfc3339(`${text.slice(start, start + 10)}T00:00:00Z`);
      if (!day.ok) return Number.NaN;
      this.#date = date;
      this.#dayMs = day.atMs;
    }
    const wholeMs = this.#dayMs + hour * 3_600_000 + minute * 60_000 + second * 1000;
    if (length === 20) return wholeMs;
    if (codes[start + 19] !== 46) return Number.NaN;
    let fraction = 0;
    for (let at = start + 20; at < start + 23; at += 1) {
      const digit = at < end - 1 ? (codes[at] ?? 0) - ZERO : 0;
      if (digit < 0 || digit > 9) return Number.NaN;
      fraction = fraction * 10 + digit;
    }
    return wholeMs + fraction;
  }
}

function pair(codes: Uint16Array, at: number): number {
  const tens = (codes[at] ?? 0) - ZERO;
  const ones = (codes[at + 1] ?? 0) - ZERO;
  return tens >= 0 && tens <= 9 && ones >= 0 && ones <= 9 ? tens * 10 + ones : Number.NaN;
}

interface KnownSource {
  readonly nameCodes: Uint16Array;
  readonly unitCodes: Uint16Array;
  readonly source: CsvSource;
  /** The one whose row came behind it the last time. */
  next: KnownSource | null;
}

/** Sources kept; a file that names more begins anew. */
const MOST_SOURCES = 10_000;

/** The series of a long file. Rows of several come in rounds, so the one that came next the last time is tried first. */
export class PlainSources {
  readonly #valueUnit: string | null;
  readonly #known = new Map<string, KnownSource>();
  #last: KnownSource | null = null;

  /** @param valueUnit of rows that name none. */
  constructor(valueUnit: string | null) {
    this.#valueUnit = valueUnit;
  }

  /** @returns `null` for a name or unit that is not there or has blanks around it. */
  find(codes: Uint16Array, text: string, nameStart: number, nameEnd: number, unitStart: number, unitEnd: number): CsvSource | null {
    const guess = this.#last?.next;
    if (guess != null && isAt(codes, nameStart, nameEnd, guess.nameCodes) && isAt(codes, unitStart, unitEnd, guess.unitCodes)) {
      this.#last = guess;
      return guess.source;
    }
    const name = text.slice(nameStart, nameEnd);
    const unit = text.slice(unitStart, unitEnd);
    const key = `${name}\n${unit}`;
    let found = this.#known.get(key);
    if (found === undefined) {
      if (name === '' || name !== name.trim() || unit !== unit.trim()) return null;
      if (this.#known.size >= MOST_SOURCES) this.#known.clear();
      const source: CsvSource = { label: name, pointName: name, unit: unit === '' ? this.#valueUnit : unit };
      found = { nameCodes: codes.slice(nameStart, nameEnd), unitCodes: codes.slice(unitStart, unitEnd), source, next: null };
      this.#known.set(key, found);
    }
    if (this.#last !== null) this.#last.next = found;
    this.#last = found;
    return found.source;
  }
}

function isAt(codes: Uint16Array, start: number, end: number, wanted: Uint16Array): boolean {
  const { length } = wanted;
  if (end - start !== length) return false;
  // Names of one place differ at their ends.
  for (let i = length - 1; i >= 0; i -= 1) if (codes[start + i] !== wanted[i]) return false;
  return true;
}
