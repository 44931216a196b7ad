/**
 * Room on the disk for the day it is full. Two files of plain ballast lie beside the database. When a commit finds no room, the first is given up and
 * the commit goes on; the alarm that is on its way rings. When that room is used up, the second is given up, and from then on readings must wait with
 * their senders: a transition, a page and a journal row are a few hundred bytes, so that it lasts them for very long.
 */
import { closeSync, fsyncSync, openSync, rmSync, statSync, statfsSync, writeSync } from 'node:fs';
import { join } from 'node:path';
import { randomBytes } from 'node:crypto';
import type { Database } from 'better-sqlite3';
import { MINUTE } from '../domain/duration.ts';
import { BUSY_MS } from './connection.ts';
import { isFull } from './errors.ts';

export const RESERVE_FILES = ['tankbell.reserve-1', 'tankbell.reserve-2'] as const;
export const RESERVE_PART_BYTES = 16 * 1024 * 1024;

/** How often a reserve that was given up is looked after. */
const LOOK_EVERY_MS = MINUTE;
/** Room there must be for it several times over once it was given up, lest it be made and given up in turn. */
const ROOM_FACTOR = 4;
const ROOM_FACTOR_AT_START = 1.5;
const BLOCK = 1024 * 1024;

export interface Reserve {
  /** `false` when the last part had to be given up. */
  readonly takesReadings: boolean;
  /** What is wrong and what to do; `null` when all is well. */
  readonly trouble: string | null;
  /** The disk is full: gives up a part. @returns whether there was one. */
  release(): boolean;
  /** Makes it whole again when there is room; looks once a minute at most. */
  look(nowMs: number): void;
}

/** For a store in memory, and for a command that is done in a moment. */
export const noReserve: Reserve = { takesReadings: true, trouble: null, release: () => false, look: () => undefined };

/**
 * Does `work`. When the disk is full, room is made and it is done again: first by emptying the write-ahead log, then by giving up the reserve, part by
 * part.
 */
export function withReserve<T>(db: Database, reserve: Reserve, work: () => T): T {
  let emptied = false;
  for (;;) {
    try {
      return work();
    } catch (error) {
      if (!isFull(error)) throw error;
      if (!emptied) emptied = emptyLog(db);
      else if (!reserve.release()) throw error;
      else emptied = false;
    }
  }
}

/** What stands in the log moves into the database, mostly onto pages that are there already, and its room is given back. */
function emptyLog(db: Database): true {
  // Whoever reads for long, a backup perhaps, holds the log: then there is no point in waiting.
  db.pragma('busy_timeout = 0');
  try {
    db.pragma('wal_checkpoint(TRUNCATE)');
  } catch (error) {
    // No room for that either: nothing is lost, the log stays as it is.
    if (!isFull(error)) throw error;
  } finally {
    db.pragma(`busy_timeout = ${BUSY_MS}`);
  }
  return true;
}

/** Makes it where it is missing and there is room. @throws what the file system says when nothing can be written at all. */
export function reserveIn(dir: string, partBytes: number = RESERVE_PART_BYTES): Reserve {
  const files = RESERVE_FILES.map((name) => join(dir, name));
  let held: readonly string[] = [];
  let lookedMs = Number.NEGATIVE_INFINITY;

  function fill(roomFactor: number): void {
    held = files.filter((file) => isWhole(file, partBytes));
    const missing = files.filter((file) => !held.includes(file));
    const { bavail, bsize } = statfsSync(dir);
    if (missing.length === 0 || bavail * bsize < roomFactor * missing.length * partBytes) return;
    try {
      for (const file of missing) writeBallast(file, partBytes);
    } catch (error) {
      // Somebody else has filled the room meanwhile.
      if (!isFull(error)) throw error;
    }
    held = files.filter((file) => isWhole(file, partBytes));
  }
  fill(ROOM_FACTOR_AT_START);

  return {
    get takesReadings() {
      return held.length > 0;
    },
    get trouble() {
      const missing = files.length - held.length;
      if (missing === 0) return null;
      const room = `free at least ${Math.ceil((ROOM_FACTOR * missing * partBytes) / 1e6)} MB on the disk that holds ${dir}`;
      return held.length > 0
        ? `The disk is full, and readings go into the last room that was kept for it: ${room}.`
        : `The disk is full. No reading is taken until there is room, they wait with their senders; alarms and pages go on. Now: ${room}.`;
    },
    release() {
      const [file, ...others] = held;
      if (file === undefined) return false;
      rmSync(file, { force: true });
      held = others;
      return true;
    },
    look(nowMs) {
      if (held.length === files.length || Math.abs(nowMs - lookedMs) < LOOK_EVERY_MS) return;
      lookedMs = nowMs;
      fill(ROOM_FACTOR);
    },
  };
}

function isWhole(file: string, partBytes: number): boolean {
  return statSync(file, { throwIfNoEntry: false })?.size === partBytes;
}

/** Random, since a file system that packs what it stores would keep no room for zeros. */
function writeBallast(file: string, partBytes: number): void {
  rmSync(file, { force: true });
  const handle = openSync(file, 'wx', 0o600);
  let whole = false;
  try {
    const block = randomBytes(Math.min(BLOCK, partBytes));
    for (let written = 0; written < partBytes; ) written += writeSync(handle, block, 0, Math.min(block.length, partBytes - written));
    fsyncSync(handle);
    whole = true;
  } finally {
    closeSync(handle);
    if (!whole) rmSync(file, { force: true });
  }
}
