/** Chores that forget what need not be kept, and the checkpoint. */
import { DAY } from '../domain/duration.ts';
import type { SeriesId } from '../domain/reading.ts';
import { dayOf } from './codec.ts';
import type { Connection } from './connection.ts';
import type { ChoreStep, Upkeep } from './contract.ts';
import type { SealedTimes } from './known.ts';
import { sealedCheckKeeperOn } from './sealed-check.ts';
import { sealerOn } from './seal.ts';

/** Days and rows that one step forgets at most. */
const DAYS_A_STEP = 50;
const ROWS_A_STEP = 10_000;

export function upkeepOn({ db, attempt }: Connection, sealed: SealedTimes): Upkeep {
  const oldDays = db.prepare<[SeriesId, number, number], { day: number; n: number }>('SELECT day, n FROM chunk WHERE series = ? AND day < ? ORDER BY day LIMIT ?');
  const dropChunk = db.prepare<[SeriesId, number]>('DELETE FROM chunk WHERE series = ? AND day = ?');
  const dropRollup = db.prepare<[SeriesId, number]>('DELETE FROM rollup WHERE series = ? AND day = ?');
  const oldRow = db.prepare<[SeriesId, number, number], number>('SELECT at_ms FROM reading WHERE series = ? AND at_ms < ? ORDER BY at_ms LIMIT 1 OFFSET ?').pluck();
  const dropRows = db.prepare<[SeriesId, number]>('DELETE FROM reading WHERE series = ? AND at_ms < ?');
  const dropSessions = db.prepare<[number]>('DELETE FROM session WHERE expires_ms <= ?');

  const dropBefore = db.transaction((series: SeriesId, beforeMs: number): ChoreStep => {
    const firstKept = dayOf(beforeMs);
    const days = oldDays.all(series, firstKept, DAYS_A_STEP);
    let readings = 0;
    for (const { day, n } of days) {
      dropChunk.run(series, day);
      dropRollup.run(series, day);
      readings += n;
    }
    const rowsEndMs = oldRow.get(series, firstKept * DAY, ROWS_A_STEP) ?? firstKept * DAY;
    readings += dropRows.run(series, rowsEndMs).changes;
    return { readings, more: days.length === DAYS_A_STEP || rowsEndMs < firstKept * DAY };
  });

  return {
    ...sealerOn(db, attempt, sealed),
    ...sealedCheckKeeperOn({ db, attempt }),
    dropBefore: (series, beforeMs) =>
      attempt(() => {
        // Times of days that are gone are no longer known.
        sealed.forget();
        return dropBefore.immediate(series, beforeMs);
      }),
    dropEndedSessions: (nowMs) => attempt(() => dropSessions.run(nowMs).changes),
    checkpoint: () =>
      attempt(() => {
        // Passive: waits for nobody, so no commit waits for it either.
        db.pragma('wal_checkpoint(PASSIVE)');
      }),
  };
}
