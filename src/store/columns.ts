/** Readings of one series as columns: put together, cut, compared. */
import type { Reading, SeriesId } from '../domain/reading.ts';
import type { Columns } from './codec.ts';

/** A row as SQLite gives it without names. */
export type ReadingRow = readonly [atMs: number, value: number, quality: number];

export function columnsOf(rows: readonly ReadingRow[]): Columns {
  const columns = emptyColumns(rows.length);
  for (let i = 0; i < rows.length; i += 1) {
    const row = rows[i];
    if (row === undefined) continue;
    columns.atMs[i] = row[0];
    columns.value[i] = row[1];
    columns.quality[i] = row[2];
  }
  return columns;
}

export const emptyColumns = (length: number): Columns => ({ atMs: new Float64Array(length), value: new Float64Array(length), quality: new Float64Array(length) });

/** Both together, in order of time. Of two readings of one time the one of `first` stands. */
export function merged(first: Columns, second: Columns): Columns {
  const all = emptyColumns(first.atMs.length + second.atMs.length);
  let [i, j, length] = [0, 0, 0];
  while (i < first.atMs.length || j < second.atMs.length) {
    const a = first.atMs[i] ?? Number.POSITIVE_INFINITY;
    const b = second.atMs[j] ?? Number.POSITIVE_INFINITY;
    const [from, at] = a <= b ? [first, i] : [second, j];
    if (a <= b) i += 1;
    if (b <= a) j += 1;
    all.atMs[length] = Math.min(a, b);
    all.value[length] = from.value[at] ?? 0;
    all.quality[length] = from.quality[at] ?? 0;
    length += 1;
  }
  return cut(all, 0, length);
}

export const cut = ({ atMs, value, quality }: Columns, start: number, end: number): Columns => ({
  atMs: atMs.subarray(start, end), value: value.subarray(start, end), quality: quality.subarray(start, end),
});

/** Place of the first reading not before `atMs`. */
export function firstFrom(times: Float64Array, atMs: number): number {
  let [low, high] = [0, times.length];
  while (low < high) {
    const middle = (low + high) >> 1;
    if ((times[middle] ?? 0) < atMs) low = middle + 1;
    else high = middle;
  }
  return low;
}

/** To the bit: −0 is not 0. */
export function sameColumns(a: Columns, b: Columns): boolean {
  return sameBits(a.atMs, b.atMs) && sameBits(a.value, b.value) && sameBits(a.quality, b.quality);
}

const bytesOf = (column: Float64Array): Buffer => Buffer.from(column.buffer, column.byteOffset, column.byteLength);
const sameBits = (a: Float64Array, b: Float64Array): boolean => bytesOf(a).equals(bytesOf(b));

export function* readingsOf(series: SeriesId, { atMs, value, quality }: Columns): Generator<Reading> {
  for (let i = 0; i < atMs.length; i += 1) yield { series, atMs: atMs[i] ?? 0, value: value[i] ?? 0, quality: quality[i] ?? 0 };
}
