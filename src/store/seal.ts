/**
 * Sealing: rows of settled days into one blob per series and day. A step is one transaction of bounded work: it reads some rows of a day, puts them
 * together with what of that day is sealed already, and deletes them. So a day of a fast sensor is sealed in several steps, late readings are sealed
 * again the same way, and a crash between steps leaves a day that is partly sealed, which readers put together.
 */
import type { Database } from 'better-sqlite3';
import { DAY, HOUR } from '../domain/duration.ts';
import type { SeriesId } from '../domain/reading.ts';
import { chunkReaderOn, chunkWriterOn } from './chunk.ts';
import { type Columns, DamagedDayError, dayOf } from './codec.ts';
import { type ReadingRow, columnsOf, merged } from './columns.ts';
import type { Attempt } from './connection.ts';
import type { ChoreStep } from './contract.ts';
import type { SealedTimes } from './known.ts';

/** How long a day must be over before it counts as settled: gateways that were away for a while have caught up. */
export const SETTLED_AFTER_MS = 2 * HOUR;

/** Work of one step, in rows: some 15 ms. A day of a sensor that reads every 10 s is 8,640 rows. */
const WORK_A_STEP = 10_000;
/** What packing a day costs beside its rows, in rows, and what each reading that was sealed before costs. */
const WORK_A_DAY = 600;
const WORK_A_SEALED_READING = 0.2;

/** The first day that is not settled. */
export const firstOpenDay = (nowMs: number): number => dayOf(nowMs - SETTLED_AFTER_MS);

export function sealerOn(db: Database, attempt: Attempt, sealed: SealedTimes): { seal(nowMs: number): Promise<ChoreStep> } {
  const allSeries = db.prepare<[], SeriesId>('SELECT id FROM series ORDER BY id').pluck();
  const first = db.prepare<[SeriesId, number, number], number>('SELECT at_ms FROM reading WHERE series = ? AND at_ms >= ? AND at_ms < ? ORDER BY at_ms LIMIT 1').pluck();
  const rows = db.prepare<[SeriesId, number, number, number], ReadingRow>('SELECT at_ms, value, quality FROM reading WHERE series = ? AND at_ms >= ? AND at_ms < ? ORDER BY at_ms LIMIT ?').raw();
  const drop = db.prepare<[SeriesId, number, number]>('DELETE FROM reading WHERE series = ? AND at_ms >= ? AND at_ms <= ?');
  const chunks = { ...chunkReaderOn(db), ...chunkWriterOn(db) };
  /** Series still to look at in this round, and from when on; a round that is over begins anew. */
  let round: { readonly series: SeriesId; fromMs: number }[] = [];
  let started = false;

  /** @returns `null` when the series has none left to seal. */
  function sealSome(place: { readonly series: SeriesId; fromMs: number }, beforeMs: number): { readonly rows: number; readonly work: number } | null {
    const { series } = place;
    const firstMs = first.get(series, place.fromMs, beforeMs);
    if (firstMs === undefined) return null;
    const day = dayOf(firstMs);
    let before: Columns | null;
    try {
      before = chunks.read(series, day);
    } catch (error) {
      if (!(error instanceof DamagedDayError)) throw error;
      // Its rows stay where they are: sealing them would write over what might still be saved. "check-store" names the day.
      place.fromMs = (day + 1) * DAY;
      return { rows: 0, work: WORK_A_DAY };
    }
    const slice = columnsOf(rows.all(series, firstMs, (day + 1) * DAY, WORK_A_STEP));
    const whole = before === null ? slice : merged(before, slice);
    if (before === null || whole.atMs.length > before.atMs.length) chunks.put(series, day, whole);
    drop.run(series, firstMs, slice.atMs.at(-1) ?? firstMs);
    sealed.sealed(series, day);
    return { rows: slice.atMs.length, work: WORK_A_DAY + slice.atMs.length + WORK_A_SEALED_READING * (before?.atMs.length ?? 0) };
  }

  const step = db.transaction((beforeMs: number): ChoreStep => {
    if (!started) {
      round = allSeries.all().map((series) => ({ series, fromMs: Number.NEGATIVE_INFINITY })).reverse();
      started = true;
    }
    let [readings, work] = [0, 0];
    // One slice more than half of the work, at most: what it will be shows only when it is done.
    for (let place = round.at(-1); place !== undefined && 2 * work < WORK_A_STEP; place = round.at(-1)) {
      const done = sealSome(place, beforeMs);
      if (done === null) round.pop();
      readings += done?.rows ?? 0;
      work += done?.work ?? 0;
    }
    return { readings, more: round.length > 0 };
  });

  return {
    seal: (nowMs) =>
      attempt(() => {
        try {
          const done = step.immediate(firstOpenDay(nowMs) * DAY);
          if (!done.more) started = false;
          return done;
        } catch (error) {
          sealed.forget();
          started = false;
          throw error;
        }
      }),
  };
}
