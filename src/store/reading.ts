/** The hot path: one reading into its row, unless its day is sealed and holds it already. */
import type { Database } from 'better-sqlite3';
import type { Reading, SeriesId } from '../domain/reading.ts';
import { StoreError } from './contract.ts';
import type { SealedTimes } from './known.ts';

export interface ReadingWriter {
  /** Must run inside a transaction. @returns how many were new. @throws StoreError, permanent, for what is no reading. */
  insert(readings: Iterable<Reading>): number;
  /** @throws StoreError, permanent, for what is no reading. */
  check(series: SeriesId, atMs: number, value: number, quality: number): void;
}

export function readingWriterOn(db: Database, sealed: SealedTimes): ReadingWriter {
  // A prepared single row inside a transaction is the fastest way in. Not INSERT OR IGNORE: that would swallow every other violation too.
  const insertRow = db.prepare<[number, number, number, number]>(
    'INSERT INTO reading (series, at_ms, value, quality) VALUES (?, ?, ?, ?) ON CONFLICT (series, at_ms) DO NOTHING',
  );
  const seriesRow = db.prepare<[number], { id: number }>('SELECT id FROM series WHERE id = ?');
  // Series are never deleted, so a known one stays known.
  const known = new Set<SeriesId>();

  function check(series: SeriesId, atMs: number, value: number, quality: number): void {
    if (!Number.isFinite(value)) throw refused(`value ${value} of series ${series} at ${atMs} is no number that can be kept`);
    if (!Number.isSafeInteger(atMs)) throw refused(`time ${atMs} of a reading of series ${series} is no whole number of milliseconds`);
    if (!Number.isSafeInteger(quality) || quality < 0) throw refused(`quality ${quality} of a reading of series ${series} is no sum of flags`);
    if (!known.has(series)) {
      if (seriesRow.get(series) === undefined) throw refused(`series ${series} does not exist`);
      known.add(series);
    }
  }

  return {
    check,
    insert(readings) {
      let added = 0;
      sealed.refresh();
      for (const { series, atMs, value, quality } of readings) {
        check(series, atMs, value, quality);
        if (sealed.has(series, atMs)) continue;
        added += insertRow.run(series, atMs, value, quality).changes;
      }
      return added;
    },
  };
}

const refused = (what: string): StoreError => new StoreError(`nothing was written: ${what}`, { permanent: true });
