/** Sealed, half sealed, late, dropped: whatever is done in whatever order, the store answers as a plain list would. */
import { join } from 'node:path';
import SQLite from 'better-sqlite3';
import { describe, expect, it } from 'vitest';
import { DAY, HOUR } from '../../src/domain/duration.ts';
import { Quality, type Reading } from '../../src/domain/reading.ts';
import { bucketEdges } from '../../src/store/bucket-edges.ts';
import { dayOf } from '../../src/store/codec.ts';
import type { Store } from '../../src/store/contract.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { addReadings, T0, batch, reading } from './examples.ts';
import { LONG_AFTER, sealAll } from './sealing.ts';
import { seededRandom } from './seeded.ts';
import { temporaryFolder } from './temporary-folder.ts';

const folder = temporaryFolder();
const isUsable = ({ quality }: Reading): boolean => (quality & Quality.outOfRange) === 0;
const one = async (store: Store, name = 'lobby/a'): Promise<number> => (await store.seriesFor([name])).get(name) ?? Number.NaN;

/** What the store must be equal to. */
class PlainList {
  readonly #known = new Map<string, Reading>();
  add(readings: readonly Reading[]): number {
    const before = this.#known.size;
    for (const each of readings) {
      const key = `${each.series} ${each.atMs}`;
      if (!this.#known.has(key)) this.#known.set(key, each);
    }
    return this.#known.size - before;
  }
  drop(series: number, beforeMs: number): number {
    const old = [...this.#known].filter(([, each]) => each.series === series && dayOf(each.atMs) < dayOf(beforeMs));
    for (const [key] of old) this.#known.delete(key);
    return old.length;
  }
  of(series: number): readonly Reading[] {
    return [...this.#known.values()].filter((each) => each.series === series).sort((a, b) => a.atMs - b.atMs);
  }
}

async function expectEqual(store: Store, list: PlainList, series: number, random: () => number, note: string): Promise<void> {
  const all = list.of(series);
  expect(await store.readings(series, -Infinity, Infinity), note).toEqual(all);
  const newest = all.filter(isUsable).slice(-2).reverse();
  expect(await store.latest(series), note).toEqual(newest[0] ?? null);
  const live = await store.load();
  expect(live.latest.get(series) ?? [], note).toEqual(newest);
  expect(live.lastStampMs.get(series), note).toBe(all.at(-1)?.atMs);
  for (let i = 0; i < 4; i += 1) {
    const from = T0 + Math.floor((random() * 9 - 1) * DAY);
    const to = from + 1 + Math.floor(random() * (i < 2 ? 9 * DAY : 5 * HOUR));
    expect(await store.readings(series, from, to), `${note}, ${from} to ${to}`).toEqual(all.filter(({ atMs }) => atMs >= from && atMs < to));
    const count = 1 + Math.floor(random() * (i === 0 ? 40 : 400));
    const edges = bucketEdges(from, to, count);
    if (edges === null) throw new Error('no buckets');
    const usable = all.filter((each) => isUsable(each) && each.atMs >= from && each.atMs < to);
    const found = await store.buckets(series, from, to, count);
    const bucketOf = ({ atMs }: Reading): number => edges.originMs + Math.floor((atMs - edges.originMs) / edges.widthMs) * edges.widthMs;
    const starts = [...new Set(usable.map(bucketOf))];
    expect(found.length).toBeLessThanOrEqual(count);
    expect(found.map(({ fromMs }) => fromMs), `${note}, ${from} to ${to} in ${count}`).toEqual(starts);
    for (const bucket of found) {
      const values = usable.filter((each) => bucketOf(each) === bucket.fromMs).map(({ value }) => value);
      expect([bucket.n, bucket.min, bucket.max]).toEqual([values.length, Math.min(...values), Math.max(...values)]);
      // Sums of hundredths below 1e7 are exact as whole numbers.
      expect(bucket.mean).toBeCloseTo(values.reduce((sum, value) => sum + Math.round(value * 100), 0) / 100 / values.length, 10);
    }
  }
}

describe('a store equals a plain list', () => {
  it.each(Array.from({ length: 12 }, (_, i) => [i + 1]))('seed %i', async (seed) => {
    const random = seededRandom(seed);
    const store = await openSqliteStore(':memory:');
    const list = new PlainList();
    const series = [await one(store, 'lobby/a'), await one(store, 'lobby/b')];
    let nowMs = T0;
    const some = (): Reading[] => {
      const id = series[Math.floor(random() * 2)] ?? 0;
      const startMs = T0 + Math.floor(random() * 7 * DAY);
      const everyMs = [1000, 60_000, 1_800_000][Math.floor(random() * 3)] ?? 1000;
      const readings = Array.from({ length: 1 + Math.floor(random() * 200) }, (_, i) =>
        reading(id, startMs + i * everyMs + (random() < 0.5 ? 0 : Math.floor(random() * 40)), Math.round((25 + random() * 10) * 100) / 100, random() < 0.1 ? Math.floor(random() * 8) : 0));
      if (random() < 0.3) readings.reverse();
      return random() < 0.2 ? [...readings, ...readings.slice(0, 5).map((each) => ({ ...each, value: 99 }))] : readings;
    };
    for (let step = 0; step < 60; step += 1) {
      const kind = random();
      if (kind < 0.35) {
        const readings = some();
        await store.commit(batch({ readings, aliveMs: nowMs }));
        list.add(readings);
      } else if (kind < 0.7) {
        const readings = some();
        expect(await addReadings(store, readings), `seed ${seed} step ${step}`).toBe(list.add(readings));
      } else if (kind < 0.9) {
        await store.seal(nowMs);
      } else if (kind < 0.93) {
        const [id = 0, beforeMs] = [series[0], T0 + Math.floor(random() * 2 * DAY)];
        const expected = list.drop(id, beforeMs);
        expect((await store.dropBefore(id, beforeMs)).readings).toBe(expected);
      } else {
        nowMs += Math.floor(random() * 3 * DAY);
        await store.commit(batch({ aliveMs: nowMs }));
      }
      if (step % 10 === 9) for (const id of series) await expectEqual(store, list, id, random, `seed ${seed} step ${step}`);
    }
    await sealAll(store);
    for (const id of series) await expectEqual(store, list, id, random, `seed ${seed}, all sealed`);
    await store.close();
  });
});

describe('sealing', () => {
  it('takes days that have been over for two hours, and no others', async () => {
    const store = await openSqliteStore(':memory:');
    const a = await one(store);
    await store.commit(batch({ readings: [reading(a, T0 + DAY - 1, 1), reading(a, T0 + DAY, 2)] }));
    expect(await store.seal(T0 + DAY + 2 * HOUR - 1)).toEqual({ readings: 0, more: false });
    expect(await store.seal(T0 + DAY + 2 * HOUR)).toEqual({ readings: 1, more: false });
    expect(await store.seal(T0 + DAY + 2 * HOUR)).toEqual({ readings: 0, more: false });
    expect((await store.readings(a, T0, T0 + 2 * DAY)).map(({ value }) => value)).toEqual([1, 2]);
    await store.close();
  });

  it('moves every row, leaves the file smaller, and seals the day of a fast sensor in steps', async () => {
    const file = join(folder.fresh(), 'tankbell.db');
    const store = await openSqliteStore(file);
    const a = await one(store);
    const readings = Array.from({ length: 86_400 }, (_, i) => reading(a, T0 + i * 1000, Math.round(2540 + 30 * Math.sin(i / 900)) / 100, i % 1000 === 0 ? 1 : 0));
    await store.commit(batch({ readings }));
    const sizes: number[] = [];
    for (let more = true; more; ) {
      const step = await store.seal(LONG_AFTER);
      ({ more } = step);
      sizes.push(step.readings);
      if (sizes.length % 4 === 1) expect(await store.readings(a, T0, T0 + DAY)).toHaveLength(86_400);
    }
    expect(Math.max(...sizes)).toBeLessThanOrEqual(10_000);
    expect(sizes.reduce((sum, size) => sum + size, 0)).toBe(86_400);
    expect(await store.readings(a, T0, T0 + DAY)).toEqual(readings);
    await store.close();
    const db = new SQLite(file);
    expect(db.prepare('SELECT count(*) FROM reading').pluck().get()).toBe(0);
    expect(db.prepare('SELECT n, usable, first_ms, last_ms FROM chunk').all()).toEqual([{ n: 86_400, usable: 86_313, first_ms: T0, last_ms: T0 + DAY - 1000 }]);
    db.close();
  });

  it('late readings are kept beside a sealed day and sealed into it later; known ones count for nothing', async () => {
    const store = await openSqliteStore(':memory:');
    const a = await one(store);
    await store.commit(batch({ readings: [reading(a, T0 + 10, 1), reading(a, T0 + 20, 2)], aliveMs: T0 + 9 * DAY }));
    await sealAll(store);
    await store.commit(batch({ readings: [reading(a, T0 + 10, 77), reading(a, T0 + 15, 3)], aliveMs: T0 + 9 * DAY }));
    const whole = [reading(a, T0 + 10, 1), reading(a, T0 + 15, 3), reading(a, T0 + 20, 2)];
    expect(await store.readings(a, T0, T0 + DAY)).toEqual(whole);
    expect(await store.buckets(a, T0, T0 + DAY, 1)).toEqual([{ fromMs: T0, n: 3, min: 1, max: 3, mean: 2 }]);
    expect(await sealAll(store)).toBe(1);
    expect(await store.readings(a, T0, T0 + DAY)).toEqual(whole);
    expect(await store.buckets(a, T0, T0 + DAY, 1)).toEqual([{ fromMs: T0, n: 3, min: 1, max: 3, mean: 2 }]);
    expect(await addReadings(store, [...whole, reading(a, T0 + 16, 4)])).toBe(1);
    await store.close();
  });

  it('is noticed when another process has done it', async () => {
    const file = join(folder.fresh(), 'tankbell.db');
    const store = await openSqliteStore(file);
    const a = await one(store);
    await store.commit(batch({ readings: [reading(a, T0, 1)] }));
    const other = await openSqliteStore(file);
    await sealAll(other);
    await other.close();
    expect(await addReadings(store, [reading(a, T0, 2), reading(a, T0 + 1, 3)])).toBe(1);
    expect((await store.readings(a, T0, T0 + 9)).map(({ value }) => value)).toEqual([1, 3]);
    await store.close();
  });

  it('nothing that a failed batch would have changed is remembered', async () => {
    const store = await openSqliteStore(':memory:');
    const a = await one(store);
    await store.commit(batch({ aliveMs: T0 + 9 * DAY }));
    await addReadings(store, [reading(a, T0, 1)]);
    await expect(addReadings(store, [reading(a, T0 + 1, 2), reading(a, T0 + 1, 3), reading(a, T0 + 20 * DAY, Number.NaN)])).rejects.toThrow(/nothing was written/);
    expect(await addReadings(store, [reading(a, T0 + 1, 4)])).toBe(1);
    expect((await store.readings(a, T0, T0 + 9)).map(({ value }) => value)).toEqual([1, 4]);
    await store.close();
  });
});

describe('a damaged sealed day', () => {
  async function damaged(): Promise<{ store: Store; a: number }> {
    const file = join(folder.fresh(), 'tankbell.db');
    const store = await openSqliteStore(file);
    const a = await one(store);
    await store.commit(batch({ readings: [reading(a, T0, 1), reading(a, T0 + DAY, 2), reading(a, T0 + DAY + 5, 3)] }));
    await sealAll(store);
    const db = new SQLite(file);
    db.prepare('UPDATE chunk SET data = zeroblob(length(data)) WHERE day = ?').run(dayOf(T0 + DAY));
    db.close();
    return { store, a };
  }

  it('is an error that names it, and takes nothing else along', async () => {
    const { store, a } = await damaged();
    await expect(store.readings(a, T0, T0 + 3 * DAY)).rejects.toThrow(/the sealed day 2026-03-02 of series 1 is damaged/);
    expect(await store.readings(a, T0, T0 + DAY)).toEqual([reading(a, T0, 1)]);
    await store.close();
  });

  it('stops neither the start nor a commit nor a later sealing; what comes for it is kept beside it', async () => {
    const { store, a } = await damaged();
    const live = await store.load();
    expect(live.latest.get(a)).toEqual([reading(a, T0, 1)]);
    await store.commit(batch({ readings: [reading(a, T0 + DAY + 7, 4), reading(a, T0 + 2 * DAY, 5)], aliveMs: T0 + 20 * DAY }));
    expect(await addReadings(store, [reading(a, T0 + DAY + 8, 6)])).toBe(1);
    expect(await sealAll(store)).toBe(1);
    expect((await store.readings(a, T0 + 2 * DAY, T0 + 3 * DAY)).map(({ value }) => value)).toEqual([5]);
    await store.close();
  });
});

it('hours that are damaged are counted again from the readings', async () => {
  const file = join(folder.fresh(), 'tankbell.db');
  const store = await openSqliteStore(file);
  const a = await one(store);
  const readings = Array.from({ length: 48 }, (_, i) => reading(a, T0 + i * HOUR + 1, i - 20));
  await store.commit(batch({ readings }));
  await sealAll(store);
  const before = await store.buckets(a, T0, T0 + 2 * DAY, 10);
  const db = new SQLite(file);
  db.exec('UPDATE rollup SET hours = zeroblob(length(hours))');
  db.close();
  expect(await store.buckets(a, T0, T0 + 2 * DAY, 10)).toEqual(before);
  expect(before.reduce((sum, { n }) => sum + n, 0)).toBe(48);
  await store.close();
});

it('sums that no whole number holds are summed as doubles', async () => {
  const store = await openSqliteStore(':memory:');
  const a = await one(store);
  const values = [2 ** 51, 2 ** 51 - 1, 1e300, -1e300, 0.1, 1 / 3, 5e-324];
  await store.commit(batch({ readings: values.map((value, i) => reading(a, T0 + i * 3 * HOUR, value)) }));
  await sealAll(store);
  expect((await store.buckets(a, T0, T0 + DAY, 8)).map(({ min, max, mean }) => [min, max, mean])).toEqual(values.map((value) => [value, value, value]));
  await store.close();
});
