/** History that arrives in bulk: stored, never judged. What belongs to settled days is sealed at once. */
import type { Database } from 'better-sqlite3';
import { DAY } from '../domain/duration.ts';
import type { JournalEntry } from '../domain/journal.ts';
import type { Reading, SeriesId } from '../domain/reading.ts';
import { chunkReaderOn, chunkWriterOn } from './chunk.ts';
import { type Columns, DamagedDayError, dayOf } from './codec.ts';
import { type ReadingRow, columnsOf, cut, emptyColumns, merged } from './columns.ts';
import type { Connection } from './connection.ts';
import type { HistoryWriter } from './contract.ts';
import { journalAppenderOn } from './journal-row.ts';
import type { SealedTimes } from './known.ts';
import type { ReadingWriter } from './reading.ts';
import { firstOpenDay } from './seal.ts';

export function historyWriterOn({ db, attempt }: Connection, readings: ReadingWriter, sealed: SealedTimes): HistoryWriter {
  const alive = db.prepare<[], number>('SELECT at_ms FROM alive').pluck();
  const sealDay = daySealerOn(db, sealed);
  const append = journalAppenderOn(db);

  const addHistory = db.transaction((history: readonly Reading[]): number => {
    const aliveMs = alive.get();
    const openDay = aliveMs === undefined ? Number.NEGATIVE_INFINITY : firstOpenDay(aliveMs);
    const open: Reading[] = [];
    const settled: Reading[] = [];
    for (const reading of history) (dayOf(reading.atMs) < openDay ? settled : open).push(reading);
    for (const reading of settled) readings.check(reading);
    let added = readings.insert(open);
    for (const { series, day, readings: offered } of byDay(settled)) added += sealDay(series, day, offered) ?? readings.insert(offered);
    return added;
  });
  const appendJournal = db.transaction((entries: readonly JournalEntry[]) => {
    for (const entry of entries) append(entry);
  });
  return {
    addHistory: (history) =>
      attempt(() => {
        try {
          return addHistory.immediate(history);
        } catch (error) {
          sealed.forget();
          throw error;
        }
      }),
    appendJournal: (entries) => attempt(() => appendJournal.immediate(entries)),
  };
}

/** @returns how many were new; `null` when that day is damaged: nothing has been done then. */
function daySealerOn(db: Database, sealed: SealedTimes): (series: SeriesId, day: number, offered: readonly Reading[]) => number | null {
  const rows = db.prepare<[SeriesId, number, number], ReadingRow>('SELECT at_ms, value, quality FROM reading WHERE series = ? AND at_ms >= ? AND at_ms < ? ORDER BY at_ms').raw();
  const drop = db.prepare<[SeriesId, number, number]>('DELETE FROM reading WHERE series = ? AND at_ms >= ? AND at_ms < ?');
  const chunks = { ...chunkReaderOn(db), ...chunkWriterOn(db) };
  const none = emptyColumns(0);
  return (series, day, offered) => {
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
    const fresh = ordered(offered);
    const whole = known.atMs.length === 0 ? fresh : merged(known, fresh);
    if (before === null || whole.atMs.length > before.atMs.length) chunks.put(series, day, whole);
    if (hot.atMs.length > 0) drop.run(series, startMs, endMs);
    sealed.sealed(series, day);
    return whole.atMs.length - known.atMs.length;
  };
}

interface SeriesDay {
  readonly series: SeriesId;
  readonly day: number;
  readonly readings: Reading[];
}

function byDay(readings: readonly Reading[]): Iterable<SeriesDay> {
  const days = new Map<SeriesId, Map<number, SeriesDay>>();
  const all: SeriesDay[] = [];
  for (const reading of readings) {
    let ofSeries = days.get(reading.series);
    if (ofSeries === undefined) days.set(reading.series, (ofSeries = new Map()));
    const day = dayOf(reading.atMs);
    let found = ofSeries.get(day);
    if (found === undefined) {
      found = { series: reading.series, day, readings: [] };
      ofSeries.set(day, found);
      all.push(found);
    }
    found.readings.push(reading);
  }
  return all;
}

/** In order of time; of two with one time the one that came first stands. */
function ordered(offered: readonly Reading[]): Columns {
  const isOrdered = offered.every(({ atMs }, i) => i === 0 || atMs > (offered[i - 1]?.atMs ?? 0));
  // The sort is stable, so that of two with one time the first stays first.
  const inOrder = isOrdered ? offered : [...offered].sort((a, b) => a.atMs - b.atMs);
  const columns = emptyColumns(inOrder.length);
  let length = 0;
  for (const { atMs, value, quality } of inOrder) {
    if (length > 0 && columns.atMs[length - 1] === atMs) continue;
    columns.atMs[length] = atMs;
    columns.value[length] = value;
    columns.quality[length] = quality;
    length += 1;
  }
  return cut(columns, 0, length);
}
