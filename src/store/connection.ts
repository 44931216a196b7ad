/** One connection to the database, opened the way every connection of Tankbell must be. */
import SQLite, { type Database } from 'better-sqlite3';
import { StoreError } from './contract.ts';
import { storeErrorOf } from './errors.ts';
import { appliedSteps } from './migrations.ts';

export const IN_MEMORY = ':memory:';

/** Mode of a data folder that is made: it holds addresses, ways in and password hashes, nobody else's business on a shared machine. */
export const PRIVATE = 0o700;

/** How long a connection waits for another process (an import beside the service) before it reports that it is busy. */
export const BUSY_MS = 2000;

/** The write-ahead file is cut back to this after a checkpoint, so that one big import does not occupy the disk for ever. */
const WAL_LIMIT_BYTES = 64 * 1024 * 1024;

/** Runs synchronous work on the database; what it throws arrives as a StoreError in the promise. */
export type Attempt = <T>(work: () => T) => Promise<T>;

export interface Connection {
  readonly db: Database;
  readonly attempt: Attempt;
}

export const attemptOn =
  (file: string): Attempt =>
  async (work) => {
    try {
      return work();
    } catch (error) {
      throw storeErrorOf(error, file);
    }
  };

/** @throws StoreError for a file that is not this Tankbell's, which is left as it was; otherwise whatever SQLite throws. */
export function openWriter(file: string): Database {
  const db = new SQLite(file, { timeout: BUSY_MS });
  try {
    appliedSteps(db);
    const mode = db.pragma('journal_mode = WAL', { simple: true });
    if (mode !== 'wal' && file !== IN_MEMORY) {
      throw new StoreError(`${file} lies where no write-ahead log can be kept (a network drive?): name a data folder on a disk of this machine`, { permanent: true });
    }
    // The bundled default under WAL is NORMAL, which may lose the last commits when the power fails.
    db.pragma('synchronous = FULL');
    db.pragma(`journal_size_limit = ${WAL_LIMIT_BYTES}`);
    db.pragma('foreign_keys = ON');
    return db;
  } catch (error) {
    db.close();
    throw error;
  }
}

/** Reading beside the writer: sees every commit, can change nothing. The file must exist. */
export function openReader(file: string): Database {
  const db = new SQLite(file, { timeout: BUSY_MS, readonly: true, fileMustExist: true });
  db.pragma('synchronous = FULL');
  return db;
}
