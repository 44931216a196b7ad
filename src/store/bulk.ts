/** History that arrives in bulk: stored, never judged. What belongs to settled days is sealed at once. */
import type { Database } from 'better-sqlite3';
import { DAY } from '../domain/duration.ts';
import type { JournalEntry } from '../domain/journal.ts';
import type { SeriesId } from '../domain/reading.ts';
import { chunkReaderOn, chunkWriterOn } from './chunk.ts';
import { type Columns, DamagedDayError, dayOf } from './codec.ts';
import { type ReadingRow, columnsOf, cut, emptyColumns, firstFrom, merged, readingsOf } from './columns.ts';
import type { Connection } from './connection.ts';
import type { HistoryWriter, SeriesColumns } from './contract.ts';
import { journalAppenderOn } from './journal-row.ts';
import type { SealedTimes } from './known.ts';
import type { ReadingWriter } from './reading.ts';
import { firstOpenDay } from './seal.ts';

export function historyWriterOn({ db, attempt }: Connection, readings: ReadingWriter, sealed: SealedTimes): HistoryWriter {
  const alive = db.prepare<[], number>('SELECT at_ms FROM alive').pluck();
  const sealDay = daySealerOn(db, sealed);
  const append = journalAppenderOn(db);

  const addColumns = db.transaction((history: readonly SeriesColumns[]): number => {
    const aliveMs = alive.get();
    const openDay = aliveMs === undefined ? Number.NEGATIVE_INFINITY : firstOpenDay(aliveMs);
    for (const { series, atMs, value, quality } of history) {
      for (let i = 0; i < atMs.length; i += 1) readings.check(series, atMs[i] ?? Number.NaN, value[i] ?? Number.NaN, quality[i] ?? Number.NaN);
    }
    let added = 0;
    for (const columns of history) {
      const { series } = columns;
      for (const [day, offered] of days(ordered(columns))) added += (day < openDay ? sealDay(series, day, offered) : null) ?? readings.insert(readingsOf(series, offered));
    }
    return added;
  });
  const appendJournal = db.transaction((entries: readonly JournalEntry[]) => {
    for (const entry of entries) append(entry);
  });
  return {
    addHistory: (history) =>
      attempt(() => {
        try {
          return addColumns.immediate(history);
        } catch (error) {
          sealed.forget();
          throw error;
        }
      }),
    appendJournal: (entries) => attempt(() => appendJournal.immediate(entries)),
  };
}

/** @returns how many were new; `null` when that day is damaged: nothing has been done then. */
function daySealerOn(db: Database, sealed: SealedTimes): (series: SeriesId, day: number, fresh: Columns) => number | null {
  const rows = db.prepare<[SeriesId, number, number], ReadingRow>('SELECT at_ms, value, quality FROM reading WHERE series = ? AND at_ms >= ? AND at_ms < ? ORDER BY at_ms').raw();
  const drop = db.prepare<[SeriesId, number, number]>('DELETE FROM reading WHERE series = ? AND at_ms >= ? AND at_ms < ?');
  const chunks = { ...chunkReaderOn(db), ...chunkWriterOn(db) };
  const none = emptyColumns(0);
  return (series, day, fresh) => {
    let before: Columns | null;
    try {
      before = chunks.read(series, day);
    } catch (error) {
      if (error instanceof DamagedDayError) return null;
      throw error;
    }
    const [startMs, endMs] = [day * DAY, (day + 1) * DAY];
    const hot = columnsOf(rows.all(series, startMs, endMs));
    const known = hot.atMs.length === 0 ? (before ?? none) : merged(before ?? none, hot);
    const whole = known.atMs.length === 0 ? fresh : merged(known, fresh);
    if (before === null || whole.atMs.length > before.atMs.length) chunks.put(series, day, whole);
    if (hot.atMs.length > 0) drop.run(series, startMs, endMs);
    sealed.sealed(series, day);
    return whole.atMs.length - known.atMs.length;
  };
}

/** In order of time; of two with one time the one that came first stands. */
function ordered(offered: Columns): Columns {
  if (isAscending(offered.atMs)) return offered;
  const { atMs, value, quality } = offered;
  // The sort is stable, so that of two with one time the first stays first.
  const places = Array.from(atMs.keys()).sort((a, b) => (atMs[a] ?? 0) - (atMs[b] ?? 0));
  const columns = emptyColumns(places.length);
  let length = 0;
  for (const place of places) {
    const time = atMs[place] ?? 0;
    if (length > 0 && columns.atMs[length - 1] === time) continue;
    columns.atMs[length] = time;
    columns.value[length] = value[place] ?? 0;
    columns.quality[length] = quality[place] ?? 0;
    length += 1;
  }
  return cut(columns, 0, length);
}

function isAscending(times: Float64Array): boolean {
  for (let i = 1; i < times.length; i += 1) if (!((times[i] ?? 0) > (times[i - 1] ?? 0))) return false;
  return true;
}

/** @param columns in order of time. */
function* days(columns: Columns): Generator<readonly [day: number, readings: Columns]> {
  const { atMs } = columns;
  for (let start = 0; start < atMs.length; ) {
    const day = dayOf(atMs[start] ?? 0);
    const end = firstFrom(atMs, (day + 1) * DAY);
    yield [day, cut(columns, start, end)];
    start = end;
  }
}
