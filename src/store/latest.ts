/** The newest usable readings of a series: a seek from the end of its rows and of its sealed days, never a scan of its history. */
import type { Database } from 'better-sqlite3';
import { Quality, type Reading, type SeriesId } from '../domain/reading.ts';
import { chunkReaderOn } from './chunk.ts';
import { type Columns, DamagedDayError } from './codec.ts';
import { readingsOf } from './columns.ts';
import { usableOf } from './rollup.ts';

/** The flag of `isUsable`, as SQL. */
export const USABLE = `(quality & ${Quality.outOfRange}) = 0`;

export const READING_COLUMNS = 'series, at_ms AS atMs, value, quality';

/** Newest first. A sealed day that is damaged is passed over: what is older is shown with its own time, and the service must start. */
export function latestUsableOn(db: Database): (series: SeriesId, count: number) => readonly Reading[] {
  const hot = db.prepare<[SeriesId, number], Reading>(`SELECT ${READING_COLUMNS} FROM reading WHERE series = ? AND ${USABLE} ORDER BY at_ms DESC LIMIT ?`);
  const days = db.prepare<[SeriesId, number, number], number>('SELECT day FROM chunk WHERE series = ? AND last_ms > ? AND usable > 0 ORDER BY day DESC LIMIT ?').pluck();
  const chunks = chunkReaderOn(db);
  const sealed = (series: SeriesId, day: number, count: number): readonly Reading[] => {
    let columns: Columns | null;
    try {
      columns = chunks.read(series, day);
    } catch (error) {
      if (error instanceof DamagedDayError) return [];
      throw error;
    }
    if (columns === null) return [];
    return [...readingsOf(series, usableOf(columns))].slice(-count);
  };
  return (series, count) => {
    const found = [...hot.all(series, count)];
    const oldest = found.length < count ? undefined : found.at(-1);
    const newerDays = days.all(series, oldest?.atMs ?? Number.NEGATIVE_INFINITY, count);
    if (newerDays.length === 0) return found;
    for (const day of newerDays) for (const reading of sealed(series, day, count)) if (!found.some(({ atMs }) => atMs === reading.atMs)) found.push(reading);
    return found.sort((a, b) => b.atMs - a.atMs).slice(0, count);
  };
}

/** Time of the latest reading of any quality. */
export function lastStampOn(db: Database): (series: SeriesId) => number | null {
  const hot = db.prepare<[SeriesId], number>('SELECT at_ms FROM reading WHERE series = ? ORDER BY at_ms DESC LIMIT 1').pluck();
  const sealed = db.prepare<[SeriesId], number>('SELECT last_ms FROM chunk WHERE series = ? ORDER BY day DESC LIMIT 1').pluck();
  return (series) => {
    const found = [hot.get(series), sealed.get(series)].filter((atMs) => atMs !== undefined);
    return found.length === 0 ? null : Math.max(...found);
  };
}
