/** The table of sealed days. */
import type { Database } from 'better-sqlite3';
import type { SeriesId } from '../domain/reading.ts';
import { type Columns, decodeDay, encodeDay, showDay } from './codec.ts';
import { sameColumns } from './columns.ts';
import { rollupOf, usableOf } from './rollup.ts';

export interface ChunkReader {
  /** `null`: that day is not sealed. @throws DamagedDayError */
  read(series: SeriesId, day: number): Columns | null;
  /** Days from the first up to and including the last that are sealed, ascending. */
  days(series: SeriesId, firstDay: number, lastDay: number): readonly number[];
}

export interface ChunkWriter {
  /** Seals a day, or seals it anew. Must run inside a transaction. */
  put(series: SeriesId, day: number, readings: Columns): void;
}

export function chunkReaderOn(db: Database): ChunkReader {
  const data = db.prepare<[number, number], Uint8Array>('SELECT data FROM chunk WHERE series = ? AND day = ?').pluck();
  const days = db.prepare<[number, number, number], number>('SELECT day FROM chunk WHERE series = ? AND day BETWEEN ? AND ? ORDER BY day').pluck();
  return {
    read: (series, day) => {
      const blob = data.get(series, day);
      return blob === undefined ? null : decodeDay(series, day, blob);
    },
    days: (series, firstDay, lastDay) => days.all(series, firstDay, lastDay),
  };
}

export function chunkWriterOn(db: Database): ChunkWriter {
  const putChunk = db.prepare<[number, number, number, number, number, number, Uint8Array]>(
    `INSERT INTO chunk (series, day, n, usable, first_ms, last_ms, data) VALUES (?, ?, ?, ?, ?, ?, ?)
     ON CONFLICT (series, day) DO UPDATE SET n = excluded.n, usable = excluded.usable, first_ms = excluded.first_ms, last_ms = excluded.last_ms, data = excluded.data`,
  );
  const putRollup = db.prepare<[number, number, Uint8Array]>(
    'INSERT INTO rollup (series, day, hours) VALUES (?, ?, ?) ON CONFLICT (series, day) DO UPDATE SET hours = excluded.hours',
  );
  return {
    put: (series, day, readings) => {
      const blob = encodeDay(series, day, readings);
      // The rows it stands for are about to be deleted: whatever might be wrong, in the code or in the memory, must show now.
      if (!sameColumns(decodeDay(series, day, blob), readings)) throw new Error(`${showDay(day)} of series ${series} does not come back as it was; it stays unsealed`);
      const { atMs } = readings;
      putChunk.run(series, day, atMs.length, usableOf(readings).atMs.length, atMs[0] ?? 0, atMs.at(-1) ?? 0, blob);
      putRollup.run(series, day, rollupOf(readings));
    },
  };
}
