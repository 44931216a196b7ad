import { readFileSync, writeFileSync } from 'node:fs';
import SQLite from 'better-sqlite3';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { StandingClock } from '../src/clock.ts';
import { DAY, HOUR } from '../src/domain/duration.ts';
import type { Fleet } from '../src/domain/fleet.ts';
import { type Housekeeping, startHousekeeping } from '../src/housekeeping.ts';
import { makeLogger } from '../src/log.ts';
import { type SealedDay, type Store, StoreError } from '../src/store/contract.ts';
import { openSqliteStore } from '../src/store/sqlite.ts';
import { fleet, point } from './rules/fleet.ts';
import { T0, batch, reading } from './store/examples.ts';
import { temporaryFolder } from './store/temporary-folder.ts';

const folder = temporaryFolder();
const kept = point('temperature', 'kept');
const short = point('power', 'short', { keepMs: 30 * DAY });
const installed: Fleet = fleet({ points: [kept, short] });

async function started(file: string, nowMs: number, change: (store: Store) => Partial<Store> = () => ({}), thread = false): Promise<{ store: Store; clock: StandingClock; chores: Housekeeping }> {
  const store = await openSqliteStore(file, { thread });
  // Between two steps whatever else is waiting has its turn, as under the real clock.
  const clock = Object.assign(new StandingClock(nowMs), { sleep: () => new Promise<void>((resolve) => setImmediate(resolve)) });
  const chores = startHousekeeping({ store: { ...store, ...change(store) }, fleet: () => installed, clock, log: makeLogger('silent', clock.now) });
  return { store, clock, chores };
}

async function fill(file: string, days: number): Promise<void> {
  const store = await openSqliteStore(file);
  for (const id of (await store.seriesFor([kept.id, short.id])).values()) {
    await store.commit(batch({ readings: Array.from({ length: days * 24 }, (_, i) => reading(id, T0 + i * HOUR, i)), aliveMs: T0 + days * DAY }));
  }
  await store.putAccount({ name: 'ana', passwordHash: 'hash', createdMs: T0, personId: null });
  const accountId = (await store.accountByName('ana'))?.id ?? Number.NaN;
  await store.putSession({ tokenHash: 'ended', accountId, expiresMs: T0 + DAY });
  await store.putSession({ tokenHash: 'running', accountId, expiresMs: T0 + 900 * DAY });
  await store.close();
}

describe('housekeeping', () => {
  it('seals, forgets what its point keeps no longer, ends sessions, and says what it forgot', async () => {
    const file = join(folder.fresh(), 'tankbell.sqlite');
    await fill(file, 60);
    const nowMs = T0 + 60 * DAY + 3 * HOUR;
    const { store, chores } = await started(file, nowMs);
    await chores.run();
    // 30 days and 3 hours ago lies in day 30, which stays whole.
    expect(chores.status()).toEqual({ running: false, doneMs: nowMs, sealedReadings: (60 + 30) * 24, droppedReadings: 30 * 24, checkedDays: 60 + 30, faults: [], trouble: null, troubleMs: null });
    const series = await store.seriesFor([kept.id, short.id]);
    expect(await store.readings(series.get(kept.id) ?? 0, 0, Infinity)).toHaveLength(60 * 24);
    expect((await store.readings(series.get(short.id) ?? 0, 0, Infinity))[0]?.atMs).toBe(T0 + 30 * DAY);
    expect((await store.journal({ limit: 9 })).map(({ kind, text, detail }) => ({ kind, text, detail }))).toEqual([
      { kind: 'service', text: 'Forgot 720 readings of 1 points, older than the fleet file keeps them', detail: { readings: { [short.id]: 720 } } },
    ]);
    const db = new SQLite(file, { readonly: true });
    expect(db.prepare('SELECT token_hash FROM session').pluck().all()).toEqual(['running']);
    expect(db.prepare('SELECT count(*) FROM reading').pluck().get()).toBe(0);
    db.close();
    // Once more on the same day: nothing left to do, nothing said.
    await chores.run();
    expect(chores.status()).toMatchObject({ sealedReadings: 0, droppedReadings: 0 });
    expect(await store.journal({ limit: 9 })).toHaveLength(1);
    await chores.stop();
    await store.close();
  });

  it('forgets sealed days the same as rows', async () => {
    const file = join(folder.fresh(), 'tankbell.sqlite');
    await fill(file, 20);
    const first = await started(file, T0 + 21 * DAY);
    await first.chores.run();
    expect(first.chores.status()).toMatchObject({ sealedReadings: 2 * 20 * 24, droppedReadings: 0 });
    first.clock.set(T0 + 40 * DAY);
    await first.chores.run();
    expect(first.chores.status()).toMatchObject({ droppedReadings: 10 * 24 });
    const db = new SQLite(file, { readonly: true });
    expect(db.prepare('SELECT count(*) FROM chunk').pluck().get()).toBe(30);
    expect(db.prepare('SELECT count(*) FROM rollup').pluck().get()).toBe(30);
    db.close();
    await first.chores.stop();
    await first.store.close();
  });

  it('tells what failed, does the rest all the same, and is well again when it works', async () => {
    const file = join(folder.fresh(), 'tankbell.sqlite');
    await fill(file, 3);
    let broken = true;
    const { store, chores } = await started(file, T0 + 5 * DAY, (real) => ({
      dropEndedSessions: (nowMs) => (broken ? Promise.reject(new StoreError('the disk is full', { permanent: false })) : real.dropEndedSessions(nowMs)),
    }));
    await chores.run();
    expect(chores.status()).toMatchObject({ trouble: 'end sessions: the disk is full', troubleMs: T0 + 5 * DAY, doneMs: null, sealedReadings: 2 * 3 * 24 });
    broken = false;
    await chores.run();
    expect(chores.status()).toMatchObject({ trouble: null, doneMs: T0 + 5 * DAY });
    await chores.stop();
    await store.close();
  });

  it('begins by itself, soon after a start', async () => {
    const file = join(folder.fresh(), 'tankbell.sqlite');
    await fill(file, 400);
    const store = await openSqliteStore(file);
    const waits: { readonly ms: number; readonly run: () => void }[] = [];
    const clock = Object.assign(new StandingClock(T0 + 500 * DAY), {
      every: (ms: number, run: () => void) => {
        waits.push({ ms, run });
        return () => undefined;
      },
    });
    const chores = startHousekeeping({ store, fleet: () => installed, clock, log: makeLogger('silent', clock.now) });
    expect(chores.status()).toMatchObject({ running: false, doneMs: null });
    expect(waits.map(({ ms }) => ms)).toEqual([30_000]);
    waits[0]?.run();
    expect(chores.status().running).toBe(true);
    await chores.run();
    expect(chores.status().doneMs).toBe(T0 + 500 * DAY);
    await chores.stop();
    await store.close();
  });

  it('ends after the step that is under way when it is stopped', async () => {
    const file = join(folder.fresh(), 'tankbell.sqlite');
    await fill(file, 400);
    let steps = 0;
    const { store, chores } = await started(file, T0 + 500 * DAY, (real) => ({
      seal: async (nowMs) => {
        steps += 1;
        return real.seal(nowMs);
      },
    }));
    void chores.run();
    while (steps === 0) await new Promise((resolve) => setImmediate(resolve));
    await chores.stop();
    expect(steps).toBeLessThan(3);
    expect(chores.status()).toMatchObject({ running: false, doneMs: null, trouble: null });
    await store.close();
  });
});

describe('looking at sealed days again', () => {
  /** Changes one byte in the middle of a sealed day, as a disk does: nobody is told. */
  function damage(file: string, day: number, table: 'chunk' | 'rollup' = 'chunk'): void {
    const db = new SQLite(file);
    const column = table === 'chunk' ? 'data' : 'hours';
    const bytes = db.prepare<[number], Buffer>(`SELECT ${column} FROM ${table} WHERE day = ?`).pluck().get(day);
    if (bytes === undefined) throw new Error(`no sealed day ${day}`);
    const at = bytes.length >> 1;
    bytes[at] = (bytes[at] ?? 0) ^ 0x10;
    db.prepare(`UPDATE ${table} SET ${column} = ? WHERE day = ?`).run(bytes, day);
    db.close();
  }
  const firstDay = Math.floor(T0 / DAY);

  async function sealedFile(days: number): Promise<string> {
    const file = join(folder.fresh(), 'tankbell.sqlite');
    const store = await openSqliteStore(file);
    const series = (await store.seriesFor([kept.id])).get(kept.id) ?? Number.NaN;
    await store.commit(batch({ readings: Array.from({ length: days * 24 }, (_, i) => reading(series, T0 + i * HOUR, 20 + (i % 7) / 10)), aliveMs: T0 + days * DAY }));
    while ((await store.seal(T0 + (days + 1) * DAY)).more) { /* the next step */ }
    await store.close();
    return file;
  }

  it.each([['chunk', false], ['rollup', true]] as const)('a damaged %s (writer in a thread: %s) is journaled once, stays told until it is whole again, and is then said to be', async (table, thread) => {
    const file = await sealedFile(40);
    damage(file, firstDay + 17, table);
    const nowMs = T0 + 41 * DAY;
    const first = await started(file, nowMs, undefined, thread);
    await first.chores.run();
    expect(first.chores.status()).toMatchObject({ checkedDays: 40, trouble: null, faults: [{ day: firstDay + 17, pointId: kept.id, foundMs: nowMs }] });
    const told = async (store: Store) => (await store.journal({ limit: 9, kinds: ['service'] })).map(({ text }) => text).filter((text) => text.includes('sealed day'));
    expect(await told(first.store)).toEqual([expect.stringMatching(new RegExp(`^A sealed day is damaged on the disk: ${kept.id}: .*Keep a copy of the store and restore a backup`))]);
    // The next night: the same fault is no news.
    first.clock.set(nowMs + DAY);
    await first.chores.run();
    expect(first.chores.status()).toMatchObject({ checkedDays: 40, faults: [{ foundMs: nowMs }] });
    expect(await told(first.store)).toHaveLength(1);
    await first.chores.stop();
    await first.store.close();
    // Mended (a second flip of the same bit) while the service was down; known from the start, and looked at at once.
    damage(file, firstDay + 17, table);
    const second = await started(file, nowMs + DAY + HOUR, undefined, thread);
    await second.chores.run();
    expect(second.chores.status()).toMatchObject({ checkedDays: 0, faults: [] });
    expect(await told(second.store)).toEqual(['A sealed day that was damaged is whole again, or no longer kept', expect.anything()]);
    await second.chores.stop();
    await second.store.close();
  });

  it('a large store is looked at in shares, in a circle: each day once before any a second time', async () => {
    const file = await sealedFile(3);
    // Rows that are never read in this test: 12,000 more sealed days of nothing, made the quick way.
    const db = new SQLite(file);
    db.exec(`INSERT INTO chunk (series, day, n, usable, first_ms, last_ms, data) WITH RECURSIVE d(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM d WHERE i < 12000)
      SELECT series, day + 100 + i, n, usable, first_ms, last_ms, data FROM d, (SELECT * FROM chunk LIMIT 1)`);
    db.close();
    const looked: SealedDay[] = [];
    const { store, clock, chores } = await started(file, T0 + 60 * DAY, (real) => ({
      checkSealed: async (from) => {
        looked.push(from);
        return { ...(await real.checkSealed(from)), wrong: [] };
      },
    }));
    const shares: number[] = [];
    for (let night = 0; night < 4; night += 1) {
      await chores.run();
      shares.push(chores.status().checkedDays);
      clock.set(clock.now() + DAY);
    }
    // At least 5,000 a night; steps end on whole hundreds, so a share may be some days more.
    for (const share of shares) expect(share >= 5000 && share <= 5100).toBe(true);
    const keys = looked.map(({ day }) => day);
    const wrapped = keys.indexOf(0, 1);
    expect(keys.slice(0, wrapped)).toEqual([...new Set(keys.slice(0, wrapped))].sort((a, b) => a - b));
    expect(wrapped).toBeGreaterThan(0);
    expect(keys.slice(wrapped + 1, wrapped + 3)).toEqual(keys.slice(1, 3));
    await chores.stop();
    await store.close();
  });

  it('a page of the file that cannot be read is a fault of its day, and the days beside it are looked at all the same', async () => {
    const file = await sealedFile(40);
    const db = new SQLite(file);
    // A day so large that it lies on pages of its own, which nothing else needs.
    const big = Buffer.alloc(60_000, 1);
    const series = db.prepare<[], number>('SELECT max(id) FROM series').pluck().get();
    db.prepare('INSERT INTO chunk (series, day, n, usable, first_ms, last_ms, data) VALUES (?, ?, 1, 1, 0, 0, ?)').run(series, firstDay + 1000, big);
    const pageBytes = Number(db.pragma('page_size', { simple: true }));
    db.pragma('wal_checkpoint(TRUNCATE)');
    db.close();
    const bytes = readFileSync(file);
    // The chain of its overflow pages, broken: a page whose 4 bytes of "next page" point outside of the file (https://www.sqlite.org/fileformat2.html, 1.7).
    const inside = bytes.indexOf(Buffer.alloc(pageBytes - 4, 1));
    expect(inside % pageBytes).toBe(4);
    bytes.writeUInt32BE(0x7fffffff, inside - 4);
    writeFileSync(file, bytes);
    const { store, chores } = await started(file, T0 + 41 * DAY);
    await chores.run();
    expect(chores.status()).toMatchObject({ checkedDays: 41, trouble: null, faults: [{ day: firstDay + 1000, what: expect.stringContaining('cannot be read, the file is damaged there') }] });
    await chores.stop();
    await store.close();
  });
});
