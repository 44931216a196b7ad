/** The readings of a span, out of sealed days and rows alike. */
import type { Database } from 'better-sqlite3';
import { DAY } from '../domain/duration.ts';
import type { Reading, SeriesId } from '../domain/reading.ts';
import { type Columns, dayOf, decodeDay } from './codec.ts';
import { cut, firstFrom, readingsOf } from './columns.ts';
import { READING_COLUMNS } from './latest.ts';

/** Further off than any day there is a time for. */
const FAR = 1e12;

/** First and last day that [fromMs, toMs) touches; the ends may be infinite. */
export const daysOf = (fromMs: number, toMs: number): readonly [first: number, last: number] => [
  Math.max(-FAR, dayOf(fromMs)), Math.min(FAR, Math.ceil(toMs / DAY) - 1),
];

/** Oldest first; both ends as they are, infinite too. */
export function spanOn(db: Database): (series: SeriesId, fromMs: number, toMs: number) => readonly Reading[] {
  const rows = db.prepare<[SeriesId, number, number], Reading>(`SELECT ${READING_COLUMNS} FROM reading WHERE series = ? AND at_ms >= ? AND at_ms < ? ORDER BY at_ms`);
  const days = db.prepare<[SeriesId, number, number], { day: number; data: Uint8Array }>('SELECT day, data FROM chunk WHERE series = ? AND day BETWEEN ? AND ? ORDER BY day');
  // One transaction, so that no reading is seen twice or not at all while another process seals its day.
  return db.transaction((series: SeriesId, fromMs: number, toMs: number): readonly Reading[] => {
    if (!(fromMs < toMs)) return [];
    const hot = rows.all(series, fromMs, toMs);
    const found: Reading[] = [];
    let next = 0;
    for (const { day, data } of days.iterate(series, ...daysOf(fromMs, toMs))) {
      for (const reading of readingsOf(series, within(decodeDay(series, day, data), fromMs, toMs))) {
        for (; next < hot.length; next += 1) {
          const row = hot[next];
          // A row whose time is sealed already: the sealed one came first.
          if (row === undefined || row.atMs > reading.atMs) break;
          if (row.atMs < reading.atMs) found.push(row);
        }
        found.push(reading);
      }
    }
    if (found.length === 0) return hot;
    for (; next < hot.length; next += 1) {
      const row = hot[next];
      if (row !== undefined) found.push(row);
    }
    return found;
  });
}

/** Those in [fromMs, toMs). */
export const within = (day: Columns, fromMs: number, toMs: number): Columns => cut(day, firstFrom(day.atMs, fromMs), firstFrom(day.atMs, toMs));
