import { type ChildProcess, spawn } from 'node:child_process';
import { once } from 'node:events';
import { join } from 'node:path';
import { createInterface } from 'node:readline';
import { fileURLToPath } from 'node:url';
import SQLite from 'better-sqlite3';
import { expect, it } from 'vitest';
import type { Reading } from '../../src/domain/reading.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { READINGS_PER_BATCH, crashBatch } from './crash-batch.ts';
import { sealBatch } from './seal-batch.ts';
import { seededRandom } from './seeded.ts';
import { temporaryFolder } from './temporary-folder.ts';

const folder = temporaryFolder();
const CHILD = fileURLToPath(new URL('crash-child.ts', import.meta.url));
const SEAL_CHILD = fileURLToPath(new URL('seal-child.ts', import.meta.url));

/** Everything the child told, until it ended; `heard` may end it. */
async function run(child: ChildProcess, heard: (line: string, count: number) => void): Promise<readonly string[]> {
  const { stdout } = child;
  if (stdout === null) throw new Error('the child has no output');
  const ended = once(child, 'close');
  const lines: string[] = [];
  for await (const line of createInterface({ input: stdout })) {
    lines.push(line);
    heard(line, lines.length);
  }
  await ended;
  return lines;
}

const lastCommitted = (lines: readonly string[]): number => {
  const told = lines.filter((line) => /^committed \d+$/.test(line)).at(-1);
  return told === undefined ? -1 : Number(told.slice('committed '.length));
};

/** Batches 0 to the last one the store knows are there, whole, once; that last one is at least `toldLast`. */
async function expectWhole(file: string, toldLast: number): Promise<number> {
  const store = await openSqliteStore(file);
  const last = (await store.load()).aliveMs ?? -1;
  expect(last).toBeGreaterThanOrEqual(toldLast);
  const [series = Number.NaN] = (await store.seriesFor(['crash/point'])).values();
  const all = Array.from({ length: last + 1 }, (_, n) => n);
  const readings = await store.readings(series, -Infinity, Infinity);
  expect(readings).toHaveLength((last + 1) * READINGS_PER_BATCH);
  expect(readings).toEqual(all.flatMap((n) => crashBatch(series, n).readings));
  expect((await store.journal({ limit: 1e6 })).map(({ text }) => text).reverse()).toEqual(all.map((n) => `batch ${n}`));
  expect((await store.pages({ limit: 1e6 })).map(({ id }) => id).reverse()).toEqual(all.map((n) => `page ${n}`));
  expect((await store.load()).ruleStates).toEqual(last < 0 ? [] : [{ ruleId: 'crash', state: { n: last }, wakeAtMs: null }]);
  await store.close();
  return last;
}

it('loses nothing it reported as committed when killed at any moment, ten times over (seed 7)', async () => {
  const file = join(folder.fresh(), 'tankbell.db');
  const random = seededRandom(7);
  let last = -1;
  for (let kill = 1; kill <= 10; kill += 1) {
    const child = spawn(process.execPath, ['--import', 'tsx', CHILD, file], { stdio: ['ignore', 'pipe', 'inherit'] });
    const killAfter = 1 + Math.floor(random() * 150);
    const lines = await run(child, (_, count) => {
      if (count === killAfter) child.kill('SIGKILL');
    });
    expect(child.signalCode, `kill ${kill}`).toBe('SIGKILL');
    expect(lines.length).toBeGreaterThanOrEqual(killAfter);
    expect(lines[0], 'goes on where the last run ended').toBe(`committed ${last + 1}`);
    last = await expectWhole(file, lastCommitted(lines));
  }
  expect(last).toBeGreaterThan(300);
});

it('loses nothing when the disk takes no more: that commit fails for now, and goes in later', async () => {
  const file = join(folder.fresh(), 'tankbell.db');
  // A limit on file size stands for a disk in trouble; Node ignores the signal that goes with it, so the write itself fails.
  const limited = spawn('bash', ['-c', 'ulimit -f 1024; exec "$@"', 'bash', process.execPath, '--import', 'tsx', CHILD, file], { stdio: ['ignore', 'pipe', 'inherit'], env: { ...process.env, TSX_DISABLE_CACHE: '1' } });
  const lines = await run(limited, () => undefined);
  expect(lines.at(-1)).toMatch(/^failed for now: the disk that holds .* cannot be read or written/);
  const last = lastCommitted(lines);
  expect(last).toBeGreaterThan(5);
  expect(await expectWhole(file, last)).toBe(last);
  const freed = spawn(process.execPath, ['--import', 'tsx', CHILD, file], { stdio: ['ignore', 'pipe', 'inherit'] });
  const more = await run(freed, (line) => {
    if (line === `committed ${last + 20}`) freed.kill('SIGKILL');
  });
  expect(more[0]).toBe(`committed ${last + 1}`);
  await expectWhole(file, last + 20);
});

it('loses and doubles nothing when killed in the middle of sealing, ten times over (seed 8)', async () => {
  const file = join(folder.fresh(), 'tankbell.db');
  const random = seededRandom(8);
  let sealedDays = 0;
  let last = -1;
  for (let kill = 1; kill <= 10; kill += 1) {
    const child = spawn(process.execPath, ['--import', 'tsx', SEAL_CHILD, file], { stdio: ['ignore', 'pipe', 'inherit'] });
    const killAfter = 1 + Math.floor(random() * 40);
    // Between two commits lies the sealing: a moment after one of them is in the middle of it, or of the next write.
    const waitMs = random() * 6;
    const lines = await run(child, (_, count) => {
      if (count === killAfter) setTimeout(() => child.kill('SIGKILL'), waitMs);
    });
    expect(child.signalCode, `kill ${kill}`).toBe('SIGKILL');
    expect(lines[0], 'goes on where the last run ended').toBe(`committed ${last + 1}`);
    const store = await openSqliteStore(file);
    last = (await store.load()).aliveMs ?? -1;
    expect(last).toBeGreaterThanOrEqual(lastCommitted(lines));
    const [series = Number.NaN] = (await store.seriesFor(['crash/point'])).values();
    // The history of the write that was cut off may be there already; it comes first in a write of its own.
    const certain = Array.from({ length: last + 1 }, (_, n) => sealBatch(series, n)).flatMap(({ history, batch }) => [...history, ...batch.readings]);
    const cutOff = sealBatch(series, last + 1).history;
    const kept = await store.readings(series, -Infinity, Infinity);
    const expected = new Map(certain.map((each) => [each.atMs, each]));
    const withCutOff = new Map([...cutOff.map((each) => [each.atMs, each] as const), ...expected]);
    const inOrder = (map: ReadonlyMap<number, Reading>): readonly Reading[] => [...map.values()].sort((a, b) => a.atMs - b.atMs);
    expect(kept).toEqual(inOrder(kept.length > expected.size ? withCutOff : expected));
    await store.close();
    const db = new SQLite(file);
    expect(db.pragma('integrity_check', { simple: true })).toBe('ok');
    sealedDays = Number(db.prepare('SELECT count(*) FROM chunk').pluck().get());
    db.close();
  }
  expect(sealedDays).toBeGreaterThan(10);
});
