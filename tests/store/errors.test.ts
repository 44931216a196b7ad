import { closeSync, mkdirSync, openSync, statSync, writeFileSync, writeSync } from 'node:fs';
import { join } from 'node:path';
import SQLite from 'better-sqlite3';
import { describe, expect, it } from 'vitest';
import { StoreError } from '../../src/store/contract.ts';
import { storeErrorOf } from '../../src/store/errors.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { T0, batch, entry, reading } from './examples.ts';
import { temporaryFolder } from './temporary-folder.ts';

const folder = temporaryFolder();
const FILE = '/srv/tankbell/tankbell.db';

const thrownBy = (work: () => unknown): unknown => {
  try {
    work();
  } catch (error) {
    return error;
  }
  throw new Error('expected a failure');
};
const rejectionOf = async (work: Promise<unknown>): Promise<StoreError> => {
  const error = await work.then(() => null, (thrown: unknown) => thrown);
  if (!(error instanceof StoreError)) throw new Error(`expected a StoreError, got ${String(error)}`);
  return error;
};

describe('what SQLite really throws', () => {
  it('a full disk passes, and says where to free space', () => {
    const db = new SQLite(join(folder.fresh(), 'small.db'));
    db.exec('CREATE TABLE t (x BLOB) STRICT');
    db.pragma('max_page_count = 4');
    const cause = thrownBy(() => db.prepare('INSERT INTO t VALUES (zeroblob(100000))').run());
    db.close();
    const error = storeErrorOf(cause, FILE);
    expect(error).toMatchObject({ permanent: false, cause: { code: 'SQLITE_FULL' } });
    expect(error.message).toBe('the disk is full: free space on the disk that holds /srv/tankbell');
  });

  it('a file without write access passes, and says who needs it', () => {
    const file = join(folder.fresh(), 'a.db');
    new SQLite(file).exec('CREATE TABLE t (x INTEGER) STRICT').close();
    const db = new SQLite(file, { readonly: true });
    const error = storeErrorOf(thrownBy(() => db.exec('INSERT INTO t VALUES (1)')), FILE);
    db.close();
    expect(error).toMatchObject({ permanent: false, cause: { code: 'SQLITE_READONLY' } });
    expect(error.message).toMatch(/cannot be written: give the user that runs Tankbell write access/);
  });

  it('a folder that is a file, and a file that is a folder, cannot be opened', async () => {
    const dir = folder.fresh();
    writeFileSync(join(dir, 'plain'), 'x');
    const under = await rejectionOf(openSqliteStore(join(dir, 'plain', 'tankbell.db')));
    expect(under.permanent).toBe(false);
    expect(under.message).toContain('cannot be opened');
    mkdirSync(join(dir, 'tankbell.db'));
    const taken = await rejectionOf(openSqliteStore(join(dir, 'tankbell.db')));
    expect(taken).toMatchObject({ permanent: false, cause: { code: 'SQLITE_CANTOPEN' } });
  });

  it('a violated constraint lasts', () => {
    const db = new SQLite(':memory:');
    db.exec('CREATE TABLE t (x INTEGER NOT NULL) STRICT');
    const error = storeErrorOf(thrownBy(() => db.exec('INSERT INTO t VALUES (NULL)')), FILE);
    db.close();
    expect(error).toMatchObject({ permanent: true, cause: { code: 'SQLITE_CONSTRAINT_NOTNULL' } });
    expect(error.message).toContain('NOT NULL constraint failed: t.x');
  });

  it('a file that is no database lasts', async () => {
    const file = join(folder.fresh(), 'tankbell.db');
    writeFileSync(file, 'time,series,value\n'.repeat(400));
    const error = await rejectionOf(openSqliteStore(file));
    expect(error).toMatchObject({ permanent: true, cause: { code: 'SQLITE_NOTADB' } });
    expect(error.message).toMatch(/is no database/);
  });

  it('a damaged file lasts, and asks for a backup', async () => {
    const file = join(folder.fresh(), 'tankbell.db');
    const store = await openSqliteStore(file);
    await store.appendJournal(Array.from({ length: 2000 }, (_, i) => entry({ text: `entry ${i} ${'.'.repeat(200)}` })));
    await store.close();
    const handle = openSync(file, 'r+');
    const size = statSync(file).size;
    for (let page = 80; page * 4096 < size; page += 1) writeSync(handle, Buffer.alloc(4096, 0xa5), 0, 4096, page * 4096);
    closeSync(handle);
    const damaged = await openSqliteStore(file);
    const error = await rejectionOf(damaged.journal({ contains: 'nowhere', limit: 10 }));
    expect(error.permanent).toBe(true);
    expect(error.message).toMatch(/is damaged: keep a copy of it and restore a backup/);
    await damaged.close().catch((closing: unknown) => expect(closing).toBeInstanceOf(StoreError));
  });
});

describe('names of errors', () => {
  it.each([
    ['SQLITE_BUSY_SNAPSHOT', false, /another program is writing/],
    ['SQLITE_IOERR_WRITE', false, /check the disk/],
    ['SQLITE_IOERR', false, /check the disk/],
    ['SQLITE_READONLY_DBMOVED', false, /cannot be written/],
    ['SQLITE_CANTOPEN_ISDIR', false, /cannot be opened/],
    ['SQLITE_CORRUPT_INDEX', true, /damaged/],
    ['SQLITE_CONSTRAINT_FOREIGNKEY', true, /FOREIGN/],
    ['SQLITE_ERROR', true, /FOREIGN/],
  ])('%s', (code, permanent, message) => {
    const cause = new SQLite.SqliteError('FOREIGN key or whatever', code);
    const error = storeErrorOf(cause, FILE);
    expect(error.permanent).toBe(permanent);
    expect(error.message).toMatch(message);
    expect(error.cause).toBe(cause);
  });

  it('a StoreError passes as it is, anything else lasts', async () => {
    const known = new StoreError('told already', { permanent: false });
    expect(storeErrorOf(known, FILE)).toBe(known);
    expect(storeErrorOf('a text', FILE)).toMatchObject({ permanent: true, cause: 'a text' });
    const store = await openSqliteStore(':memory:');
    const [series = Number.NaN] = (await store.seriesFor(['a'])).values();
    expect((await rejectionOf(store.commit(batch({ readings: [reading(series, T0, Number.NaN)] })))).message).toMatch(/^nothing was written: value NaN of series 1 at \d+/);
    await store.close();
  });
});
