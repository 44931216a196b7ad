/**
 * A backup is one plain database file and beside it a manifest: what is in it, and its SHA-256. It is made while the service runs, of one moment, and
 * counts as made only once it has been read back whole. Going back is the same in reverse: checked first, then put in place in one step.
 */
import { createHash } from 'node:crypto';
import { closeSync, copyFileSync, createReadStream, existsSync, fsyncSync, linkSync, openSync, readFileSync, renameSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { copyFile } from 'node:fs/promises';
import { basename, dirname, join } from 'node:path';
import SQLite from 'better-sqlite3';
import { openReader } from './connection.ts';
import { StoreError } from './contract.ts';
import { storeErrorOf } from './errors.ts';
import { openSqliteStore } from './sqlite.ts';
import { type StoreCheck, type StoreCounts, checkStore } from './verify.ts';

export const DATABASE = 'tankbell.sqlite';

export interface Manifest {
  /** Name of the database file beside it. */
  readonly file: string;
  readonly bytes: number;
  readonly sha256: string;
  /** When it was begun, RFC 3339 in UTC. */
  readonly made: string;
  readonly counts: StoreCounts;
}

export const manifestOf = (file: string): string => `${file}.manifest.json`;

/** `tankbell-2026-03-01T02-15-00Z.sqlite` */
export const backupName = (nowMs: number): string => `tankbell-${new Date(nowMs).toISOString().slice(0, 19).replaceAll(':', '-')}Z.sqlite`;

/**
 * @param source database of a data folder, in use or not.
 * @param file must not exist. It appears only when it is whole.
 * @throws StoreError, also when the source is damaged: the backup is then left beside as `….damaged`, since it may be the best there is.
 */
export async function backUp(source: string, file: string, nowMs: number): Promise<Manifest> {
  for (const taken of [file, manifestOf(file)]) if (existsSync(taken)) throw new StoreError(`${taken} exists: name another file, a backup is never overwritten`, { permanent: true });
  const partial = `${file}.partial`;
  try {
    // Private before the first byte is in it: there are addresses and password hashes inside.
    writeFileSync(partial, '', { mode: 0o600 });
    await copyOut(source, partial);
    const check = checkStore(partial);
    if (check.faults.length > 0) {
      renameSync(partial, `${file}.damaged`);
      throw new StoreError(`${source} is damaged; what could be copied is in ${file}.damaged. Restore an older backup.\n${faultsOf(check)}`, { permanent: true });
    }
    const manifest: Manifest = { file: basename(file), bytes: statSync(partial).size, sha256: await sha256Of(partial), made: new Date(nowMs).toISOString(), counts: check.counts };
    onDisk(partial);
    renameSync(partial, file);
    writeFileSync(manifestOf(file), `${JSON.stringify(manifest, null, 2)}\n`, { mode: 0o600, flush: true });
    onDisk(dirname(file));
    return manifest;
  } catch (error) {
    throw storeErrorOf(error, file);
  } finally {
    for (const rest of [partial, `${partial}-journal`, `${partial}-wal`, `${partial}-shm`]) rmSync(rest, { force: true });
  }
}

/**
 * Puts a backup in place of the database of a data folder, whose lock the caller holds. One that is there is kept beside it.
 * @returns what is in it, and where the one before lies now.
 * @throws StoreError when the backup is not whole, or when there is a database and `replace` is false; nothing has been changed then.
 */
export async function restore(file: string, dataDir: string, options: { readonly replace: boolean; readonly nowMs: number }): Promise<{ readonly counts: StoreCounts; readonly before: string | null }> {
  const target = join(dataDir, DATABASE);
  if (existsSync(target) && !options.replace) {
    throw new StoreError(`${target} exists: add --replace to put the backup in its place (it is kept beside it), or name another data folder in the service file`, { permanent: true });
  }
  const arriving = `${target}.arriving`;
  try {
    await checkManifest(file);
    await copyFile(file, arriving);
    // Brings a backup of an older Tankbell up to date.
    await (await openSqliteStore(arriving)).close();
    // The copy is checked, not the original: what is read from now on is these bytes.
    const check = checkStore(arriving);
    if (check.faults.length > 0) throw new StoreError(`${file} is damaged, nothing was changed:\n${faultsOf(check)}`, { permanent: true });
    onDisk(arriving);
    const before = existsSync(target) ? `${target}.before-${new Date(options.nowMs).toISOString().slice(0, 19).replaceAll(':', '-')}Z` : null;
    if (before !== null) settleLog(target);
    // A write-ahead log that could not be brought in goes with its database: left behind it would be played into the restored one.
    for (const part of ['-wal', '-shm']) if (existsSync(`${target}${part}`)) renameSync(`${target}${part}`, `${before ?? `${target}.before`}${part}`);
    // A second name first, then one step from the old to the new: there is no instant without a database, which a service would take for a first start.
    if (before !== null) secondName(target, before);
    renameSync(arriving, target);
    onDisk(dataDir);
    return { counts: check.counts, before };
  } catch (error) {
    throw storeErrorOf(error, file);
  } finally {
    for (const rest of [arriving, `${arriving}-wal`, `${arriving}-shm`, `${arriving}-journal`]) rmSync(rest, { force: true });
  }
}

async function copyOut(source: string, partial: string): Promise<void> {
  const db = openReader(source);
  try {
    // All in one go: under a service that commits every second, a copy in pieces would start over for ever. Readers hold up no writer.
    await db.backup(partial, { progress: () => 2 ** 31 - 1 });
  } finally {
    db.close();
  }
  const copy = new SQLite(partial);
  try {
    // One plain file, readable from a disk that is read-only.
    copy.pragma('journal_mode = DELETE');
  } finally {
    copy.close();
  }
}

/** Brings the log of a database that was not closed into it, if the database can be opened: what is kept beside must have its last commits. */
function settleLog(file: string): void {
  if (!existsSync(`${file}-wal`)) return;
  try {
    const db = new SQLite(file);
    try {
      db.pragma('wal_checkpoint(TRUNCATE)');
    } finally {
      db.close();
    }
  } catch {
    // Damaged, which may be why it is replaced: database and log are kept side by side as they are.
  }
}

function secondName(file: string, name: string): void {
  try {
    linkSync(file, name);
  } catch {
    // A file system without links.
    copyFileSync(file, name);
  }
}

/** A backup whose manifest was lost is still checked from the inside. */
async function checkManifest(file: string): Promise<void> {
  if (!existsSync(file)) throw new StoreError(`there is no file ${file}`, { permanent: true });
  if (!existsSync(manifestOf(file))) return;
  const { bytes, sha256 }: Partial<Manifest> = JSON.parse(readFileSync(manifestOf(file), 'utf8'));
  if (statSync(file).size !== bytes) throw new StoreError(`${file} is ${statSync(file).size} bytes long, its manifest says ${bytes}: it was cut short or changed; take another backup`, { permanent: true });
  if ((await sha256Of(file)) !== sha256) throw new StoreError(`${file} is not what its manifest says (SHA-256): it was changed or damaged; take another backup`, { permanent: true });
}

async function sha256Of(file: string): Promise<string> {
  const hash = createHash('sha256');
  for await (const piece of createReadStream(file)) hash.update(piece as Buffer);
  return hash.digest('hex');
}

/** Waits until a file, or the names in a folder, are on the disk. */
function onDisk(path: string): void {
  const handle = openSync(path, 'r');
  try {
    fsyncSync(handle);
  } finally {
    closeSync(handle);
  }
}

const faultsOf = ({ faults }: StoreCheck): string => faults.map((fault) => `  ${fault}`).join('\n');
