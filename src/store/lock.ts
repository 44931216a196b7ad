/** Only one service may run on a data folder: two engines would each ring for the same alarms. */
import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import SQLite, { type Database } from 'better-sqlite3';
import { PRIVATE } from './connection.ts';
import { StoreError } from './contract.ts';
import { storeErrorOf } from './errors.ts';

export interface DataDirLock {
  /** May be called more than once. */
  release(): void;
}

/** Keeps held locks from the garbage collector, which would close the connection and let the lock go. */
const held = new Set<Database>();

/**
 * Holds `dir` (made when missing) for this process until `release`, or until the process ends in whatever way: the lock is the operating system's,
 * on a small database of its own, so that it never stands in the way of readers of the real one and none is left over by `kill -9`.
 * @throws StoreError, permanent, when it is held already.
 */
export function lockDataDir(dir: string): DataDirLock {
  const file = join(dir, 'tankbell.lock');
  try {
    mkdirSync(dir, { recursive: true, mode: PRIVATE });
    const db = new SQLite(file, { timeout: 0 });
    try {
      db.exec('BEGIN EXCLUSIVE');
    } catch (error) {
      db.close();
      throw error;
    }
    held.add(db);
    return {
      release: () => {
        held.delete(db);
        db.close();
      },
    };
  } catch (error) {
    if (error instanceof SQLite.SqliteError && error.code === 'SQLITE_BUSY') {
      throw new StoreError(`another Tankbell is running on ${dir}: stop it first, or name another data folder`, { permanent: true, cause: error });
    }
    throw storeErrorOf(error, file);
  }
}
