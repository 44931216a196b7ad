/** Opens the store over SQLite: one connection writes, a second one reads. */
import { mkdirSync } from 'node:fs';
import { dirname } from 'node:path';
import type { Database } from 'better-sqlite3';
import { accountsOn } from './accounts.ts';
import { committerOn } from './commit.ts';
import { calibrationsOn } from './calibrations.ts';
import { type Connection, IN_MEMORY, PRIVATE, attemptOn, openReader, openWriter } from './connection.ts';
import type { Store } from './contract.ts';
import { fleetOn } from './fleet.ts';
import { historyReaderOn } from './history.ts';
import { historyWriterOn } from './bulk.ts';
import { liveLoaderOn } from './live.ts';
import { migrate } from './migrations.ts';
import { outboxOn } from './outbox.ts';
import { readingWriterOn } from './reading.ts';
import { unclaimedOn } from './unclaimed.ts';

/**
 * @param file the database, made with its folder when missing; `:memory:` for a store that dies with the process.
 * @throws StoreError: permanent for a file that is damaged, another program's or a newer Tankbell's; passing for a disk in trouble.
 */
export function openSqliteStore(file: string): Promise<Store> {
  return attemptOn(file)(() => {
    if (file !== IN_MEMORY) mkdirSync(dirname(file), { recursive: true, mode: PRIVATE });
    const writer = openWriter(file);
    try {
      migrate(writer);
      return composed(file, writer, file === IN_MEMORY ? writer : openReader(file));
    } catch (error) {
      writer.close();
      throw error;
    }
  });
}

function composed(file: string, writer: Database, reader: Database): Store {
  const attempt = attemptOn(file);
  const writing: Connection = { db: writer, attempt };
  const reading: Connection = { db: reader, attempt };
  const readings = readingWriterOn(writer);
  return {
    ...liveLoaderOn(writing),
    ...committerOn(writing, readings),
    ...outboxOn(writing),
    ...historyReaderOn(reading),
    ...historyWriterOn(writing, readings),
    ...accountsOn(writing),
    ...fleetOn(writing),
    ...calibrationsOn(writing),
    ...unclaimedOn(writing, readings),
    close: () => attempt(() => closeBoth(writer, reader)),
  };
}

/** Leaves one plain file behind: the reader first, since it would hold the write-ahead log back. */
function closeBoth(writer: Database, reader: Database): void {
  if (!writer.open) return;
  if (reader !== writer) reader.close();
  try {
    writer.pragma('wal_checkpoint(TRUNCATE)');
  } finally {
    writer.close();
  }
}
