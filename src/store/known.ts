/**
 * Is a reading that comes late in a sealed day already? Asked for every reading on the hot path, so the usual answer, "that day cannot be sealed",
 * must cost nothing: only the newest sealed day of each series is remembered, and the times of a few days that late readings came for.
 */
import type { Database } from 'better-sqlite3';
import type { SeriesId } from '../domain/reading.ts';
import { DamagedDayError, dayOf } from './codec.ts';
import { chunkReaderOn } from './chunk.ts';
import { firstFrom } from './columns.ts';

/** Times kept in all: 16 MB. */
const TIMES_KEPT = 2_000_000;
const DAYS_KEPT = 4096;

export interface SealedTimes {
  /** Call before the first question of a transaction: another process may have sealed in between. */
  refresh(): void;
  has(series: SeriesId, atMs: number): boolean;
  /** That day has been sealed, by this connection. */
  sealed(series: SeriesId, day: number): void;
  /** A transaction was taken back: what was learnt in it is not so. */
  forget(): void;
}

export function sealedTimesOn(db: Database): SealedTimes {
  const chunks = chunkReaderOn(db);
  const newestDay = db.prepare<[number], number | null>('SELECT max(day) FROM chunk WHERE series = ?').pluck();
  // Changes when another connection has written, and only then; https://www.sqlite.org/pragma.html#pragma_data_version
  const dataVersion = db.prepare<[], number>('PRAGMA data_version').pluck();
  const newest = new Map<SeriesId, number>();
  const times = new Map<string, Float64Array>();
  let kept = 0;
  let version: number | undefined;

  function timesOf(series: SeriesId, day: number): Float64Array {
    const key = `${series}/${day}`;
    const known = times.get(key);
    if (known !== undefined) return known;
    const found = read(series, day);
    if (kept + found.length > TIMES_KEPT || times.size >= DAYS_KEPT) {
      times.clear();
      kept = 0;
    }
    times.set(key, found);
    kept += found.length;
    return found;
  }

  function read(series: SeriesId, day: number): Float64Array {
    try {
      return chunks.read(series, day)?.atMs ?? new Float64Array(0);
    } catch (error) {
      // What a damaged day held is not known; the reading is kept beside it. Refusing it would stop the service over an old fault.
      if (error instanceof DamagedDayError) return new Float64Array(0);
      throw error;
    }
  }

  return {
    refresh() {
      const now = dataVersion.get();
      if (now === version) return;
      version = now;
      newest.clear();
      times.clear();
      kept = 0;
    },
    has(series, atMs) {
      let upTo = newest.get(series);
      if (upTo === undefined) newest.set(series, (upTo = newestDay.get(series) ?? Number.NEGATIVE_INFINITY));
      const day = dayOf(atMs);
      if (day > upTo) return false;
      const sealed = timesOf(series, day);
      return sealed[firstFrom(sealed, atMs)] === atMs;
    },
    sealed(series, day) {
      const upTo = newest.get(series);
      if (upTo !== undefined && upTo < day) newest.set(series, day);
      const key = `${series}/${day}`;
      kept -= times.get(key)?.length ?? 0;
      times.delete(key);
    },
    forget() {
      version = undefined;
    },
  };
}
