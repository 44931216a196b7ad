/** The writer in a thread of its own: what the conformance suite (sqlite.test.ts) does not ask. */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { Worker } from 'node:worker_threads';
import { expect, it, vi } from 'vitest';
import { StoreError } from '../../src/store/contract.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { T0, batch, reading } from './examples.ts';
import { temporaryFolder } from './temporary-folder.ts';

const folder = temporaryFolder();

it('tells what is wrong with a file in the same words as without the thread', async () => {
  const file = join(folder.fresh(), 'tankbell.db');
  writeFileSync(file, 'This is a letter, not a database. '.repeat(100));
  const told = async (thread: boolean): Promise<unknown> => openSqliteStore(file, { thread }).then(() => null, (error: unknown) => (error instanceof StoreError ? { message: error.message, permanent: error.permanent } : error));
  expect(await told(true)).toEqual({ message: `${file} is no database: name another data folder, or restore a backup`, permanent: true });
  expect(await told(false)).toEqual(await told(true));
});

it('does what it is asked in the order in which it is asked, and nothing after it was closed', async () => {
  const store = await openSqliteStore(join(folder.fresh(), 'tankbell.db'), { thread: true });
  const series = (await store.seriesFor(['lobby/a'])).get('lobby/a') ?? Number.NaN;
  const order: string[] = [];
  const commits = Array.from({ length: 50 }, (_, i) => store.commit(batch({ readings: Array.from({ length: 100 }, (_unused, j) => reading(series, T0 + i * 100 + j, i)), aliveMs: T0 + i })).then(() => order.push(`commit ${i}`)));
  const loaded = store.load().then(({ aliveMs }) => order.push(`load ${aliveMs}`));
  await Promise.all([...commits, loaded]);
  expect(order).toEqual([...Array.from({ length: 50 }, (_, i) => `commit ${i}`), `load ${T0 + 49}`]);
  expect(await store.readings(series, 0, Number.MAX_SAFE_INTEGER)).toHaveLength(5000);
  await store.close();
  await store.close();
  await expect(store.load()).rejects.toThrow(/is closed/);
});

it('keeps the bytes of what nobody reads and leaves the buffer they came in alone', async () => {
  const store = await openSqliteStore(join(folder.fresh(), 'tankbell.db'), { thread: true });
  const chunk = Buffer.from('....25.5....');
  await store.commit(batch({ unclaimed: [{ topic: 'lobby/x', siteId: null, arrivedMs: T0, bytes: chunk.subarray(4, 8) }], aliveMs: T0 }));
  expect(Buffer.from((await store.unclaimedMessages('lobby/x', 1))[0]?.bytes ?? []).toString()).toBe('25.5');
  expect(chunk.toString()).toBe('....25.5....');
  await store.close();
});

it('refuses what is no reading without taking part of the batch, and goes on', async () => {
  const store = await openSqliteStore(join(folder.fresh(), 'tankbell.db'), { thread: true });
  const series = (await store.seriesFor(['lobby/a'])).get('lobby/a') ?? Number.NaN;
  const good = reading(series, T0, 25);
  await expect(store.commit(batch({ readings: [good, reading(series, T0 + 1, Number.NaN)], aliveMs: T0 }))).rejects.toMatchObject({ name: 'StoreError', permanent: true });
  expect(await store.readings(series, 0, Number.MAX_SAFE_INTEGER)).toEqual([]);
  await store.commit(batch({ readings: [good, reading(series, T0 + 1, -0)], aliveMs: T0 }));
  const kept = await store.readings(series, 0, Number.MAX_SAFE_INTEGER);
  expect(kept.map(({ value }) => (Object.is(value, -0) ? '-0' : value))).toEqual([25, '-0']);
  await store.close();
});

it('when the thread dies, says so to everybody who waits and to everybody who comes, and what was committed is there', async () => {
  const file = join(folder.fresh(), 'tankbell.db');
  const workers: Worker[] = [];
  const post = Worker.prototype.postMessage;
  const spy = vi.spyOn(Worker.prototype, 'postMessage').mockImplementation(function (this: Worker, ...args) {
    workers.push(this);
    return post.apply(this, args);
  });
  const store = await openSqliteStore(file, { thread: true });
  const series = (await store.seriesFor(['lobby/a'])).get('lobby/a') ?? Number.NaN;
  spy.mockRestore();
  const commits = Array.from({ length: 200 }, (_, i) => store.commit(batch({ readings: Array.from({ length: 200 }, (_unused, j) => reading(series, T0 + i * 200 + j, i)), aliveMs: T0 + i })).then(() => true, (error: unknown) => error));
  await commits[3];
  await workers[0]?.terminate();
  const ends = await Promise.all(commits);
  const committed = ends.filter((end) => end === true).length;
  expect(committed).toBeGreaterThan(3);
  expect(committed).toBeLessThan(200);
  for (const end of ends.slice(committed)) expect(end).toMatchObject({ name: 'StoreError', permanent: true });
  await expect(store.load()).rejects.toMatchObject({ permanent: true });
  await store.close();
  const again = await openSqliteStore(file);
  // The one under way may have been committed without our having heard of it.
  const kept = (await again.readings(series, 0, Number.MAX_SAFE_INTEGER)).length / 200;
  expect([committed, committed + 1]).toContain(kept);
  await again.close();
});

it('does not wait for ever for what cannot cross to the thread', async () => {
  const store = await openSqliteStore(join(folder.fresh(), 'tankbell.db'), { thread: true });
  await expect(store.commit(batch({ ruleStates: [{ ruleId: 'r', state: () => 1, wakeAtMs: null }], aliveMs: T0 }))).rejects.toThrow(/could not be cloned/);
  await store.commit(batch({ aliveMs: T0 + 1 }));
  expect((await store.load()).aliveMs).toBe(T0 + 1);
  await store.close();
});
