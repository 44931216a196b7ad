import SQLite from 'better-sqlite3';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { StandingClock } from '../src/clock.ts';
import { DAY, HOUR } from '../src/domain/duration.ts';
import type { Fleet } from '../src/domain/fleet.ts';
import { type Housekeeping, startHousekeeping } from '../src/housekeeping.ts';
import { makeLogger } from '../src/log.ts';
import { type Store, StoreError } from '../src/store/contract.ts';
import { openSqliteStore } from '../src/store/sqlite.ts';
import { fleet, point } from './rules/fleet.ts';
import { T0, batch, reading } from './store/examples.ts';
import { temporaryFolder } from './store/temporary-folder.ts';

const folder = temporaryFolder();
const kept = point('temperature', 'kept');
const short = point('power', 'short', { keepMs: 30 * DAY });
const installed: Fleet = fleet({ points: [kept, short] });

async function started(file: string, nowMs: number, change: (store: Store) => Partial<Store> = () => ({})): Promise<{ store: Store; clock: StandingClock; chores: Housekeeping }> {
  const store = await openSqliteStore(file);
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
    expect(chores.status()).toEqual({ running: false, doneMs: nowMs, sealedReadings: (60 + 30) * 24, droppedReadings: 30 * 24, trouble: null, troubleMs: null });
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
    while (steps === 0) await new Promise((resolve) => setImmediate(resolve));
    await chores.stop();
    expect(steps).toBeLessThan(3);
    expect(chores.status()).toMatchObject({ running: false, doneMs: null, trouble: null });
    await store.close();
  });
});
