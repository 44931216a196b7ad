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
import { importMemoryOn } from './import-memory.ts';
import { liveLoaderOn } from './live.ts';
import { migrate } from './migrations.ts';
import { outboxOn } from './outbox.ts';
import { sealedTimesOn } from './known.ts';
import { readingWriterOn } from './reading.ts';
import { type Reserve, noReserve, reserveIn } from './reserve.ts';
import { unclaimedOn } from './unclaimed.ts';
import { upkeepOn } from './upkeep.ts';

export interface StoreOptions {
  /** Room kept twice beside the database for the day the disk is full (`src/store/reserve.ts`); left out: none. For whoever stays. */
  readonly reserveBytes?: number;
}

/**
 * @param file the database, made with its folder when missing; `:memory:` for a store that dies with the process.
 * @throws StoreError: permanent for a file that is damaged, another program's or a newer Tankbell's; passing for a disk in trouble.
 */
export function openSqliteStore(file: string, options: StoreOptions = {}): Promise<Store> {
  return attemptOn(file)(() => {
    if (file !== IN_MEMORY) mkdirSync(dirname(file), { recursive: true, mode: PRIVATE });
    const writer = openWriter(file);
    try {
      migrate(writer);
      const reserve = options.reserveBytes === undefined || file === IN_MEMORY ? noReserve : reserveIn(dirname(file), options.reserveBytes);
      return composed(file, writer, file === IN_MEMORY ? writer : openReader(file), reserve);
    } catch (error) {
      writer.close();
      throw error;
    }
  });
}

function composed(file: string, writer: Database, reader: Database, reserve: Reserve): Store {
  const attempt = attemptOn(file);
  const writing: Connection = { db: writer, attempt };
  const reading: Connection = { db: reader, attempt };
  const sealed = sealedTimesOn(writer);
  const readings = readingWriterOn(writer, sealed);
  return {
    ...liveLoaderOn(writing),
    ...committerOn(writing, readings, sealed, reserve),
    ...outboxOn(writing, reserve),
    ...historyReaderOn(reading),
    ...historyWriterOn(writing, readings, sealed),
    ...upkeepOn(writing, sealed),
    ...accountsOn(writing),
    ...fleetOn(writing),
    ...importMemoryOn(writing),
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
