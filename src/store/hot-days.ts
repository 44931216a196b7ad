/** Days of which a series has rows that are not sealed: one seek a day, no scan. */
import type { Database } from 'better-sqlite3';
import { DAY } from '../domain/duration.ts';
import type { SeriesId } from '../domain/reading.ts';
import { dayOf } from './codec.ts';

/** Ascending; those that [fromMs, toMs) touches. */
export function hotDaysOn(db: Database): (series: SeriesId, fromMs: number, toMs: number) => readonly number[] {
  const first = db.prepare<[SeriesId, number, number], number>('SELECT at_ms FROM reading WHERE series = ? AND at_ms >= ? AND at_ms < ? ORDER BY at_ms LIMIT 1').pluck();
  return (series, fromMs, toMs) => {
    const days: number[] = [];
    for (let at = first.get(series, fromMs, toMs); at !== undefined; ) {
      const day = dayOf(at);
      days.push(day);
      at = first.get(series, (day + 1) * DAY, toMs);
    }
    return days;
  };
}
