/** A page and its outbox row. */
import type { Database } from 'better-sqlite3';
import type { OutboxPage, Page, PageReason, PageState } from '../domain/page.ts';

export interface PageRow {
  readonly seq: number;
  readonly id: string;
  readonly alarm_id: number | null;
  readonly person_id: string;
  readonly reason: PageReason;
  readonly created_ms: number;
  readonly state: PageState;
  readonly attempts: number;
  readonly next_try_ms: number;
  readonly handed_over_ms: number | null;
  readonly last_error: string | null;
}

/** Queues a page, due at once; one whose id is known already is dropped. */
export function pageInsertOn(db: Database): (page: Page) => void {
  const insert = db.prepare<[Page]>(
    `INSERT INTO page (id, alarm_id, person_id, reason, created_ms, state, attempts, next_try_ms)
     VALUES (@id, @alarmId, @personId, @reason, @createdMs, 'queued', 0, @createdMs) ON CONFLICT (id) DO NOTHING`,
  );
  return (page) => {
    insert.run(page);
  };
}

export function pageOf(row: PageRow): OutboxPage {
  return {
    id: row.id,
    alarmId: row.alarm_id,
    personId: row.person_id,
    reason: row.reason,
    createdMs: row.created_ms,
    state: row.state,
    attempts: row.attempts,
    nextTryMs: row.next_try_ms,
    handedOverMs: row.handed_over_ms,
    lastError: row.last_error,
  };
}
