/** Opens the store over SQLite: one connection writes, a second one reads. */
import { mkdirSync } from 'node:fs';
import { dirname } from 'node:path';
import { type Connection, IN_MEMORY, PRIVATE, attemptOn, openReader } from './connection.ts';
import type { HistoryReader, SealedChecks, Store } from './contract.ts';
import { historyReaderOn } from './history.ts';
import { sealedChecksOn } from './sealed-check.ts';
import { type StoreWriter, openStoreWriter } from './writer.ts';
import { startWriterThread } from './writer-client.ts';

export interface StoreOptions {
  /** Room kept twice beside the database for the day the disk is full (`src/store/reserve.ts`); left out: none. For whoever stays. */
  readonly reserveBytes?: number;
  /** Write in a thread of its own, so that a slow disk holds nobody up who does not wait for it. For whoever stays; not for a store in memory. */
  readonly thread?: boolean;
}

/**
 * @param file the database, made with its folder when missing; `:memory:` for a store that dies with the process.
 * @throws StoreError: permanent for a file that is damaged, another program's or a newer Tankbell's; passing for a disk in trouble.
 */
export async function openSqliteStore(file: string, { reserveBytes, thread = false }: StoreOptions = {}): Promise<Store> {
  const attempt = attemptOn(file);
  if (file !== IN_MEMORY) await attempt(() => mkdirSync(dirname(file), { recursive: true, mode: PRIVATE }));
  if (thread && file !== IN_MEMORY) return beside(file, await startWriterThread(file, reserveBytes ?? null));
  const { writer, db } = await attempt(() => openStoreWriter(file, reserveBytes ?? null));
  return file === IN_MEMORY ? { ...writer, ...readersOn({ db, attempt }) } : beside(file, writer);
}

const readersOn = (reading: Connection): HistoryReader & SealedChecks => ({ ...historyReaderOn(reading), ...sealedChecksOn(reading) });

/** The reader beside the writer. It is closed first: it would hold the write-ahead log back, and one plain file is to be left behind. */
async function beside(file: string, writer: StoreWriter): Promise<Store> {
  const attempt = attemptOn(file);
  const db = await attempt(() => openReader(file)).catch(async (error: unknown) => {
    await writer.close();
    throw error;
  });
  return {
    ...writer,
    ...readersOn({ db, attempt }),
    async close() {
      await attempt(() => db.close());
      await writer.close();
    },
  };
}
