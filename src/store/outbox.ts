/** The sending side of the outbox: who holds which page, and how it ended. */
import type { JournalEntry } from '../domain/journal.ts';
import type { OutboxPage, PageState } from '../domain/page.ts';
import type { Connection } from './connection.ts';
import { type Outbox, type PageOutcome, StoreError } from './contract.ts';
import { journalAppenderOn } from './journal-row.ts';
import { type PageRow, pageInsertOn, pageOf } from './page-row.ts';
import { type Reserve, withReserve } from './reserve.ts';

interface Settlement {
  readonly id: string;
  readonly state: PageState;
  readonly nextTryMs: number | null;
  readonly handedOverMs: number | null;
  readonly refusedMs: number | null;
  readonly error: string | null;
}

export function outboxOn({ db, attempt }: Connection, reserve: Reserve): Outbox {
  // A claim lying in the future (the clock was set back) counts as old once it is further off than any sender takes.
  const due = db.prepare<[{ nowMs: number; claimMs: number; limit: number }], PageRow>(
    `SELECT * FROM page WHERE state IN ('queued', 'claimed')
       AND CASE state WHEN 'queued' THEN next_try_ms <= @nowMs ELSE abs(@nowMs - claimed_ms) >= @claimMs END
     ORDER BY created_ms, seq LIMIT @limit`,
  );
  // The attempt counts from the claim on: a page that ends its sender must not be tried for ever as if it were new.
  const mark = db.prepare<[number, number]>(`UPDATE page SET state = 'claimed', claimed_ms = ?, attempts = attempts + 1 WHERE seq = ?`);
  const end = db.prepare<[Settlement]>(
    `UPDATE page SET state = @state, claimed_ms = NULL, next_try_ms = coalesce(@nextTryMs, next_try_ms),
       handed_over_ms = @handedOverMs, refused_ms = @refusedMs, last_error = coalesce(@error, last_error)
     WHERE id = @id AND state = 'claimed'`,
  );
  const oldest = db.prepare<[], { ms: number | null }>(`SELECT min(created_ms) AS ms FROM page WHERE state IN ('queued', 'claimed')`);
  const insert = pageInsertOn(db);
  const append = journalAppenderOn(db);

  // The write lock is taken before the first look, so that two senders never see the same page unclaimed.
  const claim = db.transaction((nowMs: number, limit: number, claimMs: number): readonly OutboxPage[] => {
    const rows = due.all({ nowMs, claimMs, limit });
    for (const row of rows) mark.run(nowMs, row.seq);
    return rows.map((row) => pageOf({ ...row, state: 'claimed', attempts: row.attempts + 1 }));
  });
  const settle = db.transaction((pageId: string, outcome: PageOutcome, journal: JournalEntry) => {
    if (end.run(settlement(pageId, outcome)).changes === 0) {
      throw new StoreError(`page ${pageId} is not claimed: it was settled by another sender, or never existed`, { permanent: true });
    }
    append(journal);
  });

  return {
    claim: (nowMs, limit, claimMs) => attempt(() => withReserve(db, reserve, () => claim.immediate(nowMs, limit, claimMs))),
    settle: (pageId, outcome, journal) => attempt(() => withReserve(db, reserve, () => settle.immediate(pageId, outcome, journal))),
    enqueue: (page) => attempt(() => insert(page)),
    oldestUnsentMs: () => attempt(() => oldest.get()?.ms ?? null),
  };
}

function settlement(id: string, outcome: PageOutcome): Settlement {
  const open = { id, state: outcome.state, nextTryMs: null, handedOverMs: null, refusedMs: null, error: null };
  switch (outcome.state) {
    case 'handed-over':
      return { ...open, handedOverMs: outcome.atMs };
    case 'queued':
      return { ...open, nextTryMs: outcome.nextTryMs, error: outcome.error };
    case 'refused':
      return { ...open, refusedMs: outcome.atMs, error: outcome.error };
  }
}
