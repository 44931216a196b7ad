/** Refused input, folded by source and reason, and bounded: a broken gateway must not fill the disk with complaints about itself. */
import type { Database } from 'better-sqlite3';
import type { RefusalCount } from './contract.ts';

/** Rows kept; those seen longest ago go first. */
export const REFUSALS_KEPT = 500;

interface RefusalRow {
  readonly source: string;
  readonly reason: string;
  readonly point_id: string | null;
  readonly excerpt: string;
  readonly count: number;
  readonly last_ms: number;
}

/** Must run inside a transaction. */
export function refusalFolderOn(db: Database): (refusals: readonly RefusalCount[]) => void {
  const fold = db.prepare<[RefusalRow]>(
    `INSERT INTO refusal (source, reason, point_id, excerpt, count, last_ms)
     VALUES (@source, @reason, @point_id, @excerpt, @count, @last_ms)
     ON CONFLICT (source, reason) DO UPDATE SET
       point_id = excluded.point_id, excerpt = excluded.excerpt, count = count + excluded.count, last_ms = excluded.last_ms`,
  );
  const dropOldest = db.prepare(
    `DELETE FROM refusal WHERE id IN (SELECT id FROM refusal ORDER BY last_ms DESC, id DESC LIMIT -1 OFFSET ${REFUSALS_KEPT})`,
  );
  return (refusals) => {
    if (refusals.length === 0) return;
    for (const { source, reason, pointId, excerpt, count, lastMs } of refusals) {
      fold.run({ source, reason, point_id: pointId, excerpt, count, last_ms: lastMs });
    }
    dropOldest.run();
  };
}

/** Last seen first. */
export function refusalListOn(db: Database): (limit: number) => readonly RefusalCount[] {
  const select = db.prepare<[number], RefusalRow>('SELECT * FROM refusal ORDER BY last_ms DESC, id DESC LIMIT ?');
  return (limit) =>
    select.all(limit).map((row) => ({
      source: row.source,
      pointId: row.point_id,
      reason: row.reason,
      excerpt: row.excerpt,
      count: row.count,
      lastMs: row.last_ms,
    }));
}
