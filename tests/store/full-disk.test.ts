/** A real disk that is really full: a file system of a few megabytes in memory, which only root may mount. */
import { spawnSync } from 'node:child_process';
import { mkdirSync, rmSync, statfsSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterEach, describe, expect, it } from 'vitest';
import { StandingClock } from '../../src/clock.ts';
import { MINUTE, SECOND } from '../../src/domain/duration.ts';
import { Engine } from '../../src/engine/engine.ts';
import { makeLogger } from '../../src/log.ts';
import { compileRules } from '../../src/rules/compile.ts';
import { loadRuleKinds } from '../../src/rules/load.ts';
import type { Store } from '../../src/store/contract.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { checkStore } from '../../src/store/verify.ts';
import { fleet, point } from '../rules/fleet.ts';
import { T0, alarm, batch, entry, page, reading } from './examples.ts';
import { temporaryFolder } from './temporary-folder.ts';

const folder = temporaryFolder();
const DISK_BYTES = 96e6;
const PART_BYTES = 8e6;

const mounted: string[] = [];
function smallDisk(): string | null {
  const dir = folder.fresh();
  if (spawnSync('mount', ['-t', 'tmpfs', '-o', `size=${DISK_BYTES}`, 'tmpfs', dir]).status !== 0) return null;
  mounted.push(dir);
  return dir;
}
const canMount = ((): boolean => {
  const dir = smallDisk();
  for (const each of mounted.splice(0)) spawnSync('umount', ['-l', each]);
  return dir !== null;
})();
afterEach(() => {
  for (const dir of mounted.splice(0)) spawnSync('umount', ['-l', dir]);
});

/** All the room there is but `leaveBytes` is taken by somebody else. @returns a way to give it back. */
function fillUp(dir: string, leaveBytes: number): () => void {
  const { bavail, bsize } = statfsSync(dir);
  const ballast = join(dir, 'somebody-elses.bin');
  writeFileSync(ballast, Buffer.alloc(Math.max(0, bavail * bsize - leaveBytes)));
  return () => rmSync(ballast);
}

async function opened(dir: string): Promise<{ store: Store; file: string; series: number }> {
  const data = join(dir, 'data');
  mkdirSync(data);
  const file = join(data, 'tankbell.sqlite');
  const store = await openSqliteStore(file, { reserveBytes: PART_BYTES });
  return { store, file, series: (await store.seriesFor(['reef/temperature'])).get('reef/temperature') ?? Number.NaN };
}

// Without root there is no way to mount; `ulimit -f` in crash.test.ts stands in for a disk in trouble there.
describe.skipIf(!canMount)('a disk that is full', () => {
  it('takes readings into the first part of the reserve, then alarms and pages only, and all again when there is room', { timeout: 120_000 }, async () => {
    const dir = smallDisk() ?? '';
    const { store, file, series } = await opened(dir);
    expect(folder.names(join(dir, 'data'))).toEqual(expect.arrayContaining(['tankbell.reserve-1', 'tankbell.reserve-2']));
    expect(store.space()).toEqual({ takesReadings: true, trouble: null });
    const giveBack = fillUp(dir, 500_000);
    let committed = 0;
    const states = new Set<string>();
    while (store.space().takesReadings) {
      await store.commit(batch({ readings: Array.from({ length: 500 }, (_, i) => reading(series, T0 + committed + i, Math.sin(committed + i))), aliveMs: T0 }));
      committed += 500;
      states.add(store.space().trouble ?? 'ok');
    }
    expect([...states].map((text) => text.slice(0, 44))).toEqual(['ok', 'The disk is full, and readings go into the l', 'The disk is full. No reading is taken until ']);
    expect(committed).toBeGreaterThan(20_000);
    // A thousand alarms with their journal rows and pages still fit; so does sending the pages.
    for (let id = 1; id <= 1000; id += 1) {
      await store.commit(batch({ alarms: [alarm({ id })], journal: [entry({ alarmId: id })], pages: [page({ id: `p${id}`, alarmId: id })], aliveMs: T0 + id }));
    }
    expect(await store.claim(T0 + 10 * MINUTE, 1, MINUTE)).toHaveLength(1);
    await store.settle('p1', { state: 'handed-over', atMs: T0 }, entry({}));
    expect(store.space().takesReadings).toBe(false);
    // What was committed is there; nothing of it was given up for the room.
    expect(await store.readings(series, 0, Infinity)).toHaveLength(committed);
    giveBack();
    await store.commit(batch({ aliveMs: T0 + 10 * MINUTE }));
    expect(store.space()).toEqual({ takesReadings: true, trouble: null });
    await store.close();
    expect(checkStore(file).faults).toEqual([]);
  });

  it('when even the reserve is used up, refuses for now and takes it up where it was', { timeout: 120_000 }, async () => {
    const dir = smallDisk() ?? '';
    const { store, series } = await opened(dir);
    const giveBack = fillUp(dir, 0);
    let committed = 0;
    const more = () => batch({ readings: Array.from({ length: 5000 }, (_, i) => reading(series, T0 + committed + i, Math.sin(committed + i))), aliveMs: T0 });
    let failure: unknown = null;
    while (failure === null) {
      failure = await store.commit(more()).then(() => null, (error: unknown) => error);
      if (failure === null) committed += 5000;
    }
    expect(failure).toMatchObject({ permanent: false, message: expect.stringContaining('the disk is full') as string });
    expect(await store.readings(series, 0, Infinity)).toHaveLength(committed);
    giveBack();
    await store.commit(more());
    expect(await store.readings(series, 0, Infinity)).toHaveLength(committed + 5000);
    await store.close();
  });

  it('lets nobody wait for nothing: the engine holds readings back, rings for the silence, and goes on by itself', { timeout: 120_000 }, async () => {
    const dir = smallDisk() ?? '';
    const { store, series } = await opened(dir);
    const temperature = point('temperature', 'temperature');
    const installed = { ...fleet({ points: [temperature] }), people: [{ id: 'ana', name: 'Ana Example (invented)', email: 'ana@example.invalid', phone: null, timeZone: 'UTC', dayStartMinute: 0, dayEndMinute: 1440 }], onCall: { steps: [{ personId: 'ana', afterMs: 0 }], repeatAfterMs: null } };
    const clock = new StandingClock(T0);
    const engine = await Engine.start({
      store, fleet: installed, rules: compileRules(installed, await loadRuleKinds()), clock, log: makeLogger('silent', clock.now), onPages: () => undefined,
      onFatal: (error) => {
        throw error;
      },
    });
    const offer = (atMs: number): boolean => engine.deliver({ arrivedMs: clock.now(), samples: [{ pointId: temperature.id, atMs, value: 25, unit: null }], refusals: [], committed: () => undefined });
    expect(offer(T0)).toBe(true);
    await engine.settle();
    const giveBack = fillUp(dir, 0);
    for (let i = 0; store.space().takesReadings; i += 5000) await store.commit(batch({ readings: Array.from({ length: 5000 }, (_, at) => reading(series, T0 - 1 - i - at, Math.sin(at))), aliveMs: T0 }));
    for (let step = 1; step <= 240; step += 1) {
      clock.set(T0 + step * 15 * SECOND);
      expect(offer(clock.now())).toBe(false);
      await engine.settle();
    }
    const [silent] = await store.alarms({ open: true, limit: 9 });
    expect(silent).toMatchObject({ ruleKind: 'silent-point', tankId: 'reef' });
    expect((await store.journal({ kinds: ['alarm'], limit: 9 })).length).toBeGreaterThan(0);
    giveBack();
    clock.set(T0 + 70 * MINUTE);
    await engine.settle();
    expect(offer(clock.now())).toBe(true);
    await engine.settle();
    expect(await store.latest(series)).toMatchObject({ atMs: T0 + 70 * MINUTE });
    await engine.stop();
    await store.close();
  });
});

describe.skipIf(!canMount)('a disk that is read-only', () => {
  it('is told at the start, passing, and harms nothing', async () => {
    const dir = smallDisk() ?? '';
    const { store, file, series } = await opened(dir);
    await store.commit(batch({ readings: [reading(series, T0, 1)], aliveMs: T0 }));
    await store.close();
    expect(spawnSync('mount', ['-o', 'remount,ro', dir]).status).toBe(0);
    const error: unknown = await openSqliteStore(file, { reserveBytes: PART_BYTES }).catch((thrown: unknown) => thrown);
    expect(error).toMatchObject({ name: 'StoreError', permanent: false });
    expect(String(error)).toMatch(/cannot be (written|opened)/);
    expect(spawnSync('mount', ['-o', 'remount,rw', dir]).status).toBe(0);
    const again = await openSqliteStore(file, { reserveBytes: PART_BYTES });
    expect(await again.readings(series, 0, Infinity)).toEqual([reading(series, T0, 1)]);
    await again.close();
  });
});
