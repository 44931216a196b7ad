/** The hot path: one reading into its row, unless its day is sealed and holds it already. */
import type { Database } from 'better-sqlite3';
import type { Reading, SeriesId } from '../domain/reading.ts';
import { StoreError } from './contract.ts';
import type { SealedTimes } from './known.ts';

export interface ReadingWriter {
  /** Must run inside a transaction. @returns how many were new. @throws StoreError, permanent, for what is no reading. */
  insert(readings: Iterable<Reading>): number;
  /** The same for readings packed by `packReadings`. */
  insertPacked(packed: Float64Array): number;
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

  function put(series: SeriesId, atMs: number, value: number, quality: number): number {
    check(series, atMs, value, quality);
    return sealed.has(series, atMs) ? 0 : insertRow.run(series, atMs, value, quality).changes;
  }

  return {
    check,
    insert(readings) {
      let added = 0;
      sealed.refresh();
      for (const { series, atMs, value, quality } of readings) added += put(series, atMs, value, quality);
      return added;
    },
    insertPacked(packed) {
      let added = 0;
      sealed.refresh();
      for (let at = 0; at < packed.length; at += FIELDS) added += put(packed[at] ?? Number.NaN, packed[at + 1] ?? Number.NaN, packed[at + 2] ?? Number.NaN, packed[at + 3] ?? Number.NaN);
      return added;
    },
  };
}

const FIELDS = 4;

/** Readings as one array that can be handed to another thread without a copy: series, time, value and quality of each in turn. */
export function packReadings(readings: readonly Reading[]): Float64Array<ArrayBuffer> {
  const packed = new Float64Array(readings.length * FIELDS);
  let at = 0;
  for (const { series, atMs, value, quality } of readings) {
    packed[at] = series;
    packed[at + 1] = atMs;
    packed[at + 2] = value;
    packed[at + 3] = quality;
    at += FIELDS;
  }
  return packed;
}

const refused = (what: string): StoreError => new StoreError(`nothing was written: ${what}`, { permanent: true });
