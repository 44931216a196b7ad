/** Everything that writes, over one connection, and what reads as part of writing. */
import { dirname } from 'node:path';
import type { Database } from 'better-sqlite3';
import { accountsOn } from './accounts.ts';
import { historyWriterOn } from './bulk.ts';
import { calibrationsOn } from './calibrations.ts';
import { type Committer, committerOn } from './commit.ts';
import { type Connection, IN_MEMORY, attemptOn, openWriter } from './connection.ts';
import type { HistoryReader, SealedChecks, Store } from './contract.ts';
import { fleetOn } from './fleet.ts';
import { importMemoryOn } from './import-memory.ts';
import { sealedTimesOn } from './known.ts';
import { liveLoaderOn } from './live.ts';
import { migrate } from './migrations.ts';
import { outboxOn } from './outbox.ts';
import { readingWriterOn } from './reading.ts';
import { noReserve, reserveIn } from './reserve.ts';
import { unclaimedOn } from './unclaimed.ts';
import { upkeepOn } from './upkeep.ts';

export type StoreWriter = Omit<Store, keyof HistoryReader | keyof SealedChecks>;

/** Opens the database and brings it up to date. @throws whatever goes wrong, nothing left open. */
export function openStoreWriter(file: string, reserveBytes: number | null): { readonly writer: StoreWriter & Committer; readonly db: Database } {
  const db = openWriter(file);
  try {
    migrate(db);
    const reserve = reserveBytes === null || file === IN_MEMORY ? noReserve : reserveIn(dirname(file), reserveBytes);
    const writing: Connection = { db, attempt: attemptOn(file) };
    const sealed = sealedTimesOn(db);
    const readings = readingWriterOn(db, sealed);
    const writer = {
      ...liveLoaderOn(writing),
      ...committerOn(writing, readings, sealed, reserve),
      ...outboxOn(writing, reserve),
      ...historyWriterOn(writing, readings, sealed),
      ...upkeepOn(writing, sealed),
      ...accountsOn(writing),
      ...fleetOn(writing),
      ...importMemoryOn(writing),
      ...calibrationsOn(writing),
      ...unclaimedOn(writing, readings),
      close: () => writing.attempt(() => close(db)),
    };
    return { writer, db };
  } catch (error) {
    db.close();
    throw error;
  }
}

function close(db: Database): void {
  if (!db.open) return;
  try {
    db.pragma('wal_checkpoint(TRUNCATE)');
  } finally {
    db.close();
  }
}
