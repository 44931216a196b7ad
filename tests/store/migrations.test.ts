import { createHash } from 'node:crypto';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import SQLite, { type Database } from 'better-sqlite3';
import { describe, expect, it } from 'vitest';
import { StoreError } from '../../src/store/contract.ts';
import { type Migration, migrate, migrations } from '../../src/store/migrations.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { temporaryFolder } from './temporary-folder.ts';

const folder = temporaryFolder();

/** The shipped steps and two later ones, one of which moves rows. */
const later: readonly Migration[] = [
  ...migrations,
  { name: 'a later table', sql: 'CREATE TABLE later (id INTEGER PRIMARY KEY, note TEXT NOT NULL) STRICT' },
  { name: 'a column more', sql: "ALTER TABLE later ADD COLUMN kind TEXT NOT NULL DEFAULT 'plain'; INSERT INTO later (note) SELECT text FROM fleet" },
];

const shape = (db: Database): unknown => ({
  schema: db.prepare("SELECT type, name, tbl_name, sql FROM sqlite_schema WHERE name NOT LIKE 'sqlite_%' ORDER BY type, name").all(),
  version: db.pragma('user_version', { simple: true }),
});
const failure = async (work: () => unknown): Promise<unknown> => {
  try {
    await work();
  } catch (error) {
    return error;
  }
  throw new Error('expected a failure');
};
const hashOf = (file: string): string => createHash('sha256').update(readFileSync(file)).digest('hex');

describe('migrations', () => {
  it('make the same of a fresh file and of one that grew, from every step on', () => {
    const fresh = new SQLite(':memory:');
    migrate(fresh, later);
    for (let have = 0; have < later.length; have += 1) {
      const grown = new SQLite(':memory:');
      for (let upTo = 1; upTo <= have; upTo += 1) migrate(grown, later.slice(0, upTo));
      migrate(grown, later);
      expect(shape(grown)).toEqual(shape(fresh));
    }
    expect(fresh.pragma('user_version', { simple: true })).toBe(later.length);
    expect(fresh.pragma('foreign_keys', { simple: true })).toBe(1);
  });

  it('change nothing the second time', () => {
    const db = new SQLite(':memory:');
    migrate(db);
    const before = shape(db);
    migrate(db);
    expect(shape(db)).toEqual(before);
  });

  it('leave a file at the last good step when one fails, and its rows alone', () => {
    const db = new SQLite(':memory:');
    migrate(db);
    db.exec("INSERT INTO fleet (only, text) VALUES (1, 'kept')");
    const before = shape(db);
    const broken = [...migrations, { name: 'broken', sql: "CREATE TABLE half (x INTEGER) STRICT; UPDATE fleet SET text = 'lost'; INSERT INTO nowhere VALUES (1)" }];
    expect(() => migrate(db, broken)).toThrow(/nowhere/);
    expect(shape(db)).toEqual(before);
    expect(db.prepare('SELECT text FROM fleet').get()).toEqual({ text: 'kept' });
    migrate(db, later);
    expect(db.prepare('SELECT note, kind FROM later').all()).toEqual([{ note: 'kept', kind: 'plain' }]);
  });

  it('refuse a file of a newer Tankbell, saying what to do, and leave it as it was', async () => {
    const file = join(folder.fresh(), 'tankbell.db');
    await (await openSqliteStore(file)).close();
    const db = new SQLite(file);
    migrate(db, later);
    db.close();
    const before = hashOf(file);
    const error = await failure(() => openSqliteStore(file));
    expect(error).toBeInstanceOf(StoreError);
    expect(error).toMatchObject({ permanent: true });
    expect(String(error)).toContain(`newer Tankbell (its shape is number ${later.length}, this Tankbell knows up to ${migrations.length}): start the newer Tankbell, or restore a backup`);
    expect(String(error)).toContain(file);
    expect(hashOf(file)).toBe(before);
  });

  it("refuse another program's database, and leave it as it was", async () => {
    const file = join(folder.fresh(), 'tankbell.db');
    const db = new SQLite(file);
    db.exec('CREATE TABLE theirs (x INTEGER)');
    db.close();
    const before = hashOf(file);
    const error = await failure(() => openSqliteStore(file));
    expect(error).toMatchObject({ permanent: true });
    expect(String(error)).toMatch(/another program/);
    expect(hashOf(file)).toBe(before);
    expect(folder.names(join(file, '..'))).toEqual(['tankbell.db']);
  });
});
