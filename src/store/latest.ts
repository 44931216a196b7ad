/** The newest usable readings of a series: a seek from the end of its rows and of its sealed days, never a scan of its history. */
import type { Database } from 'better-sqlite3';
import { Quality, type Reading, type SeriesId } from '../domain/reading.ts';
import { chunkReaderOn } from './chunk.ts';
import { type Columns, DamagedDayError } from './codec.ts';
import { readingsOf } from './columns.ts';

/** The flag of `isUsable`, as SQL. */
export const USABLE = `(quality & ${Quality.outOfRange}) = 0`;

/** Usable, and not sent as history: it says something of the present. */
export const LIVE = `(quality & ${Quality.outOfRange | Quality.history}) = 0`;

export const READING_COLUMNS = 'series, at_ms AS atMs, value, quality';

/** Days looked at for what is not found in newer ones: a point that was sent history only for longer than this has no latest value. */
const MAX_DAYS_BACK = 32;

const isLive = (quality: number): boolean => (quality & (Quality.outOfRange | Quality.history)) === 0;

/** Newest first. A sealed day that is damaged is passed over: what is older is shown with its own time, and the service must start. */
export function latestUsableOn(db: Database): (series: SeriesId, count: number) => readonly Reading[] {
  const hot = db.prepare<[SeriesId, number], Reading>(`SELECT ${READING_COLUMNS} FROM reading WHERE series = ? AND ${LIVE} ORDER BY at_ms DESC LIMIT ?`);
  const sealed = sealedDaysOn(db);
  return (series, count) => {
    const found = [...hot.all(series, count)];
    const afterMs = (found.length < count ? undefined : found.at(-1)?.atMs) ?? Number.NEGATIVE_INFINITY;
    let fromSealed = 0;
    for (const day of sealed(series, afterMs)) {
      if (fromSealed >= count) break;
      for (const reading of day.filter(({ quality }) => isLive(quality)).slice(-count)) {
        fromSealed += 1;
        if (!found.some(({ atMs }) => atMs === reading.atMs)) found.push(reading);
      }
    }
    return found.sort((a, b) => b.atMs - a.atMs).slice(0, count);
  };
}

/** Time of the latest reading of any quality that was not sent as history. */
export function lastStampOn(db: Database): (series: SeriesId) => number | null {
  const hot = db.prepare<[SeriesId], number>(`SELECT at_ms FROM reading WHERE series = ? AND (quality & ${Quality.history}) = 0 ORDER BY at_ms DESC LIMIT 1`).pluck();
  const sealed = sealedDaysOn(db);
  return (series) => {
    const hotMs = hot.get(series) ?? null;
    for (const day of sealed(series, hotMs ?? Number.NEGATIVE_INFINITY)) {
      const last = day.findLast(({ quality }) => (quality & Quality.history) === 0);
      if (last !== undefined) return Math.max(last.atMs, hotMs ?? last.atMs);
    }
    return hotMs;
  };
}

/** The readings of sealed days that reach beyond `afterMs`, newest day first, one day at a time. */
function sealedDaysOn(db: Database): (series: SeriesId, afterMs: number) => Iterable<readonly Reading[]> {
  const days = db.prepare<[SeriesId, number, number], number>('SELECT day FROM chunk WHERE series = ? AND last_ms > ? ORDER BY day DESC LIMIT ?').pluck();
  const chunks = chunkReaderOn(db);
  return function* (series, afterMs) {
    for (const day of days.all(series, afterMs, MAX_DAYS_BACK)) {
      let columns: Columns | null;
      try {
        columns = chunks.read(series, day);
      } catch (error) {
        if (error instanceof DamagedDayError) continue;
        throw error;
      }
      if (columns !== null) yield [...readingsOf(series, columns)];
    }
  };
}
