/**
 * Looks again at sealed days, some at a time, in a circle: what is damaged on the disk is found while a backup that still has it is kept. A day that is
 * damaged is a fault of that day; only what concerns the whole file is an error.
 */
import type { Connection } from './connection.ts';
import type { DayFault, SealedCheckDone, SealedChecks, SealedDay, Upkeep } from './contract.ts';
import { CHUNK_ROWS, type ChunkRow, faultsOfDay } from './day-faults.ts';
import { showDay } from './codec.ts';
import { journalAppenderOn } from './journal-row.ts';

/** One step looks at days with so many readings together, or at one that has more: 4 ms or so on a small machine. */
const READINGS_A_STEP = 50_000;
const DAYS_A_STEP = 100;
/** A disk that dies has damaged everything: these are enough to act on. */
const FAULTS_KEPT = 100;
/** Before every day of every series. */
const FIRST: SealedDay = { series: 0, day: 0 };

/** Keeps what was found. */
export function sealedCheckKeeperOn({ db, attempt }: Connection): Pick<Upkeep, 'putSealedCheck'> {
  const putState = db.prepare<[number, number, number]>('INSERT OR REPLACE INTO sealed_check (only, series, day, at_ms) VALUES (1, ?, ?, ?)');
  const putFault = db.prepare<[number, number, string, number, number]>(
    `INSERT INTO day_fault (series, day, what, found_ms) SELECT ?, ?, ?, ? WHERE (SELECT count(*) FROM day_fault) < ?
     ON CONFLICT (series, day) DO UPDATE SET what = excluded.what`,
  );
  const dropFault = db.prepare<[number, number]>('DELETE FROM day_fault WHERE series = ? AND day = ?');
  const append = journalAppenderOn(db);
  const put = db.transaction(({ next, atMs, found, mended, journal }: SealedCheckDone) => {
    for (const { series, day } of mended) dropFault.run(series, day);
    for (const { series, day, what, foundMs } of found) putFault.run(series, day, what, foundMs, FAULTS_KEPT);
    putState.run(next.series, next.day, atMs);
    for (const entry of journal) append(entry);
  });
  return { putSealedCheck: (done) => attempt(() => put.immediate(done)) };
}

/** On a connection that only reads, so that looking waits for no commit and holds none up. */
export function sealedChecksOn({ db, attempt }: Connection): SealedChecks {
  const days = db.prepare<[number, number, number], SealedDay & { n: number }>('SELECT series, day, n FROM chunk WHERE (series, day) >= (?, ?) ORDER BY series, day LIMIT ?');
  const row = db.prepare<[number, number], ChunkRow>(`${CHUNK_ROWS} WHERE chunk.series = ? AND chunk.day = ?`);
  const pointOf = db.prepare<[number], string>('SELECT point_id FROM series WHERE id = ?').pluck();
  const count = db.prepare<[], number>('SELECT count(*) FROM chunk').pluck();
  const state = db.prepare<[], SealedDay & { at_ms: number }>('SELECT series, day, at_ms FROM sealed_check');
  const faults = db.prepare<[], DayFault>('SELECT series, day, what, found_ms AS foundMs, point_id AS pointId FROM day_fault LEFT JOIN series ON id = series ORDER BY found_ms, series, day');

  function look({ series, day }: SealedDay): string | null {
    try {
      const found = row.get(series, day);
      return found === undefined ? null : (faultsOfDay(found)[0] ?? null);
    } catch (error) {
      // The pages of the file that hold it; the days beside it may be whole.
      if (!isDamage(error)) throw error;
      return `${showDay(day)} of series ${series}: it cannot be read, the file is damaged there`;
    }
  }

  return {
    sealedCheck: () =>
      attempt(() => {
        const known = state.get();
        return { sealedDays: count.get() ?? 0, faults: faults.all(), next: known ?? FIRST, lastMs: known?.at_ms ?? null };
      }),
    checkSealed: (from) =>
      attempt(() => {
        const upcoming = days.all(from.series, from.day, DAYS_A_STEP + 1);
        const wrong: Omit<DayFault, 'foundMs'>[] = [];
        let [looked, readings] = [0, 0];
        for (const { series, day, n } of upcoming) {
          if (looked === DAYS_A_STEP || (looked > 0 && readings + n > READINGS_A_STEP)) return { days: looked, wrong, next: { series, day } };
          const what = look({ series, day });
          if (what !== null) wrong.push({ series, day, what, pointId: pointOf.get(series) ?? null });
          looked += 1;
          readings += n;
        }
        return { days: looked, wrong, next: null };
      }),
    checkDay: (day) => attempt(() => look(day)),
  };
}

/** Pages that make no sense, or a sector of the disk that cannot be read any more; https://www.sqlite.org/rescode.html */
const damage = /^SQLITE_(CORRUPT|IOERR_READ|IOERR_CORRUPTFS)/;
const isDamage = (error: unknown): boolean => error instanceof Error && 'code' in error && damage.test(String(error.code));
