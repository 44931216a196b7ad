/** What is known of a point beside its readings: offline since when, how often it promised to send. A row only where there is something to know. */
import type { Database } from 'better-sqlite3';
import type { PointState } from '../domain/presence.ts';

interface PointStateRow {
  readonly point_id: string;
  readonly offline_since_ms: number | null;
  readonly offline_why: string | null;
  readonly cadence_ms: number | null;
}

export function pointStateListOn(db: Database): () => readonly PointState[] {
  const select = db.prepare<[], PointStateRow>('SELECT * FROM point_state ORDER BY point_id');
  return () =>
    select.all().map(({ point_id, offline_since_ms, offline_why, cadence_ms }) => ({
      pointId: point_id,
      offline: offline_since_ms === null || offline_why === null ? null : { sinceMs: offline_since_ms, why: offline_why },
      cadenceMs: cadence_ms,
    }));
}

export function pointStateUpsertOn(db: Database): (state: PointState) => void {
  const upsert = db.prepare<[string, number | null, string | null, number | null]>(
    `INSERT INTO point_state (point_id, offline_since_ms, offline_why, cadence_ms) VALUES (?, ?, ?, ?)
     ON CONFLICT (point_id) DO UPDATE SET offline_since_ms = excluded.offline_since_ms, offline_why = excluded.offline_why, cadence_ms = excluded.cadence_ms`,
  );
  const remove = db.prepare<[string]>('DELETE FROM point_state WHERE point_id = ?');
  return ({ pointId, offline, cadenceMs }) => {
    if (offline === null && cadenceMs === null) remove.run(pointId);
    else upsert.run(pointId, offline?.sinceMs ?? null, offline?.why ?? null, cadenceMs);
  };
}
