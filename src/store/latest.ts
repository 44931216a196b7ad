/** The newest usable readings of a series: a seek from the end of its primary key, never a scan of its history. */
import type { Database } from 'better-sqlite3';
import { Quality, type Reading, type SeriesId } from '../domain/reading.ts';

/** The flag of `isUsable`, as SQL. */
export const USABLE = `(quality & ${Quality.outOfRange}) = 0`;

/** Usable, and not sent as history: it says something of the present. */
export const LIVE = `(quality & ${Quality.outOfRange | Quality.history}) = 0`;

export const READING_COLUMNS = 'series, at_ms AS atMs, value, quality';

/** Newest first. */
export function latestUsableOn(db: Database): (series: SeriesId, count: number) => readonly Reading[] {
  const select = db.prepare<[SeriesId, number], Reading>(
    `SELECT ${READING_COLUMNS} FROM reading WHERE series = ? AND ${LIVE} ORDER BY at_ms DESC LIMIT ?`,
  );
  return (series, count) => select.all(series, count);
}
