import { createHash } from 'node:crypto';
import { existsSync, mkdirSync, readFileSync, statSync, truncateSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import SQLite from 'better-sqlite3';
import { describe, expect, it } from 'vitest';
import { DAY, HOUR } from '../../src/domain/duration.ts';
import { DATABASE, backUp, backupName, manifestOf, restore } from '../../src/store/backup.ts';
import { type Store, StoreError } from '../../src/store/contract.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { checkStore } from '../../src/store/verify.ts';
import { T0, alarm, batch, entry, page, reading } from './examples.ts';
import { LONG_AFTER, sealAll } from './sealing.ts';
import { temporaryFolder } from './temporary-folder.ts';

const folder = temporaryFolder();
const failure = async (work: Promise<unknown>): Promise<string> => {
  const error = await work.then(() => null, (thrown: unknown) => thrown);
  if (!(error instanceof StoreError)) throw new Error(`expected a StoreError, got ${String(error)}`);
  return error.message;
};
const HISTORY = Array.from({ length: 5 * 24 }, (_, i) => i);

/** A data folder with sealed days, rows, an alarm, a journal and a page. */
async function dataFolder(): Promise<{ dir: string; file: string; store: Store; series: number }> {
  const dir = folder.fresh();
  const file = join(dir, DATABASE);
  const store = await openSqliteStore(file);
  const series = (await store.seriesFor(['lobby/a'])).get('lobby/a') ?? Number.NaN;
  await store.commit(batch({ readings: HISTORY.map((i) => reading(series, T0 + i * HOUR, i / 10)), alarms: [alarm({})], journal: [entry({})], pages: [page({ alarmId: 1 })], aliveMs: T0 }));
  await sealAll(store, T0 + 4 * DAY);
  return { dir, file, store, series };
}
const counts = { series: 1, rows: 48, sealedDays: 3, sealedReadings: 72, alarms: 1, journal: 1, pages: 1 };

describe('a backup', () => {
  it('is one plain, private file of one moment, with a manifest that is true, made while the store is in use', async () => {
    const { file, store, series } = await dataFolder();
    const target = join(folder.fresh(), backupName(T0));
    expect(target).toMatch(/tankbell-2026-03-01T00-00-00Z\.sqlite$/);
    let writing = true;
    const writer = (async () => {
      for (let i = 0; writing; i += 1) {
        await store.commit(batch({ readings: [reading(series, T0 + 50 * DAY + i, i)], aliveMs: T0 + i }));
        await new Promise((resolve) => setImmediate(resolve));
      }
    })();
    const manifest = await backUp(file, target, T0);
    writing = false;
    await writer;
    expect(manifest).toMatchObject({ file: backupName(T0), made: '2026-03-01T00:00:00.000Z', counts: { ...counts, rows: manifest.counts.rows } });
    expect(manifest.counts.rows).toBeGreaterThanOrEqual(48);
    expect(manifest).toEqual(JSON.parse(readFileSync(manifestOf(target), 'utf8')));
    expect(manifest.sha256).toBe(createHash('sha256').update(readFileSync(target)).digest('hex'));
    expect(manifest.bytes).toBe(statSync(target).size);
    expect(folder.names(join(target, '..'))).toEqual([backupName(T0), `${backupName(T0)}.manifest.json`]);
    expect(statSync(target).mode & 0o777).toBe(0o600);
    // The header says how to open it: 1 is a plain file, 2 a write-ahead log (https://www.sqlite.org/fileformat.html, offset 18).
    expect(readFileSync(target)[18]).toBe(1);
    await store.close();
  });

  it('never overwrites one', async () => {
    const { file, store } = await dataFolder();
    const target = join(folder.fresh(), 'a.sqlite');
    writeFileSync(target, 'precious');
    expect(await failure(backUp(file, target, T0))).toMatch(/a\.sqlite exists: name another file/);
    expect(readFileSync(target, 'utf8')).toBe('precious');
    await store.close();
  });

  it('of a damaged store does not count as one, and what could be copied is left beside', async () => {
    const { file, store } = await dataFolder();
    const db = new SQLite(file);
    db.exec('UPDATE chunk SET data = zeroblob(20) WHERE id = 2');
    db.close();
    const dir = folder.fresh();
    expect(await failure(backUp(file, join(dir, 'a.sqlite'), T0))).toMatch(/is damaged; what could be copied is in .*a\.sqlite\.damaged[\s\S]*the sealed day 2026-03-02 of series 1 is damaged/);
    expect(folder.names(dir)).toEqual(['a.sqlite.damaged']);
    await store.close();
  });

  it('into a folder that is not there leaves nothing behind', async () => {
    const { file, store } = await dataFolder();
    expect(await failure(backUp(file, join(folder.fresh(), 'gone', 'a.sqlite'), T0))).toMatch(/cannot be opened/);
    await store.close();
  });
});

describe('restoring', () => {
  async function madeBackup(): Promise<string> {
    const { file, store } = await dataFolder();
    const target = join(folder.fresh(), 'a.sqlite');
    await backUp(file, target, T0);
    await store.close();
    return target;
  }

  it('brings everything back, to the bit', async () => {
    const { file, store, series } = await dataFolder();
    const target = join(folder.fresh(), 'a.sqlite');
    const before = { live: await store.load(), readings: await store.readings(series, -Infinity, Infinity), journal: await store.journal({ limit: 99 }), pages: await store.pages({ limit: 9 }) };
    await backUp(file, target, T0);
    await store.close();
    const dir = folder.fresh();
    expect(await restore(target, dir, { replace: false, nowMs: T0 })).toEqual({ counts, before: null });
    expect(folder.names(dir)).toEqual([DATABASE]);
    const again = await openSqliteStore(join(dir, DATABASE));
    expect({ live: await again.load(), readings: await again.readings(series, -Infinity, Infinity), journal: await again.journal({ limit: 99 }), pages: await again.pages({ limit: 9 }) }).toEqual(before);
    await again.close();
  });

  it('over a store asks for --replace, and keeps the one before, its write-ahead log included', async () => {
    const target = await madeBackup();
    const { dir, store, series, file } = await dataFolder();
    expect(await failure(restore(target, dir, { replace: false, nowMs: T0 }))).toMatch(/exists: add --replace/);
    // Not closed: the service was killed, and its last commits stand in the log only.
    await store.commit(batch({ readings: [reading(series, T0 + 99 * DAY, 7)], aliveMs: T0 + 99 }));
    expect(statSync(`${file}-wal`).size).toBeGreaterThan(0);
    const { before } = await restore(target, dir, { replace: true, nowMs: T0 });
    expect(before).toBe(`${file}.before-2026-03-01T00-00-00Z`);
    const restored = await openSqliteStore(file);
    expect((await restored.load()).aliveMs).toBe(T0);
    await restored.close();
    const kept = new SQLite(before ?? '');
    expect(kept.prepare('SELECT at_ms FROM alive').pluck().get()).toBe(T0 + 99);
    kept.close();
    await store.close().catch((error: unknown) => expect(error).toBeInstanceOf(StoreError));
  });

  it.each<[string, (file: string) => void, RegExp]>([
    ['was cut short', (file) => truncateSync(file, statSync(file).size - 4096), /bytes long, its manifest says .*: it was cut short or changed/],
    ['was changed', (file) => writeFileSync(file, Buffer.from(readFileSync(file).map((byte, at) => (at === 5000 ? byte ^ 1 : byte)))), /not what its manifest says \(SHA-256\)/],
    ['is no database', (file) => {
      writeFileSync(file, 'x'.repeat(9000));
      writeFileSync(manifestOf(file), JSON.stringify({ bytes: 9000, sha256: createHash('sha256').update('x'.repeat(9000)).digest('hex') }));
    }, /is no database/],
  ])('refuses one that %s, and changes nothing', async (_, spoil, said) => {
    const target = await madeBackup();
    spoil(target);
    const { dir, store } = await dataFolder();
    await store.close();
    const before = readFileSync(join(dir, DATABASE));
    expect(await failure(restore(target, dir, { replace: true, nowMs: T0 }))).toMatch(said);
    expect(readFileSync(join(dir, DATABASE)).equals(before)).toBe(true);
    expect(folder.names(dir)).toEqual([DATABASE]);
  });

  it('checks one without a manifest from the inside', async () => {
    const { file, store } = await dataFolder();
    await store.close();
    const copy = join(folder.fresh(), 'copied-by-hand.sqlite');
    const db = new SQLite(file);
    await db.backup(copy);
    db.close();
    const broken = new SQLite(copy);
    broken.exec('UPDATE chunk SET n = n + 1 WHERE id = 1');
    broken.close();
    const dir = join(folder.fresh(), 'data');
    mkdirSync(dir);
    expect(await failure(restore(copy, dir, { replace: false, nowMs: T0 }))).toMatch(/2026-03-01 of series 1: the row says 25, 24, .* its readings say 24, 24/);
    expect(existsSync(join(dir, DATABASE))).toBe(false);
  });
});

describe('the check of a store', () => {
  it('finds nothing in a whole one, sealed or not, beside its writer', async () => {
    const { file, store } = await dataFolder();
    expect(checkStore(file)).toEqual({ counts, faults: [] });
    await sealAll(store, LONG_AFTER);
    expect(checkStore(file)).toEqual({ counts: { ...counts, rows: 0, sealedDays: 5, sealedReadings: 120 }, faults: [] });
    await store.close();
  });

  it.each<[string, string, RegExp]>([
    ['bytes of a sealed day', "UPDATE chunk SET data = CAST(data || x'00' AS BLOB) WHERE id = 1", /the sealed day 2026-03-01 of series 1 is damaged/],
    ['a sealed day in the place of another', 'UPDATE chunk SET day = day + 100 WHERE id = 1', /is damaged \(its checksum is wrong\)/],
    ['the count of a day', 'UPDATE chunk SET usable = 3 WHERE id = 1', /the row says 24, 3, /],
    ['hours', 'UPDATE rollup SET hours = zeroblob(50)', /2026-03-01 of series 1: the hours counted of it are not those of its readings/],
    ['hours that are not there', 'DELETE FROM rollup', /the hours counted/],
    ['hours of no day', 'DELETE FROM chunk WHERE id = 1', /2026-03-01 of series 1: hours are counted of a day that is not there/],
    ['a series that is gone', 'DELETE FROM series', /readings of series 1, which belongs to no point/],
    ['an alarm that is gone', 'PRAGMA foreign_keys = OFF; DELETE FROM alarm', /a row of page names a row of alarm that is not there/],
  ])('finds %s', async (_, sql, said) => {
    const { file, store } = await dataFolder();
    await store.close();
    const db = new SQLite(file);
    db.exec(sql);
    db.close();
    expect(checkStore(file).faults.join('\n')).toMatch(said);
  });
});
