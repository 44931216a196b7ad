/** A sealed day that is damaged on the disk is told, and stops nothing: not even the look at what an outage lost. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import SQLite from 'better-sqlite3';
import { expect, test } from 'vitest';
import { StandingClock } from '../../src/clock.ts';
import { DAY, MINUTE } from '../../src/domain/duration.ts';
import { Engine } from '../../src/engine/engine.ts';
import { makeLogger } from '../../src/log.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { storyFleet } from '../stories/fleet.ts';

const startMs = Date.parse('2026-03-03T12:00:00Z');

test('a silence that began on a damaged day is told as one that cannot be looked up, and the service goes on', async () => {
  const folder = mkdtempSync(join(tmpdir(), 'tankbell-damaged-'));
  const file = join(folder, 'tankbell.db');
  const store = await openSqliteStore(file);
  try {
    const { fleet } = await storyFleet();
    const point = fleet.points.find(({ kind, source }) => kind === 'temperature' && source !== null);
    if (point === undefined) throw new Error('the story has a thermometer');
    const clock = new StandingClock(startMs);
    const fatal: Error[] = [];
    const engine = await Engine.start({ store, fleet, rules: [], clock, log: makeLogger('silent', clock.now), onPages: () => undefined, onFatal: (error) => { fatal.push(error); } });
    const send = async (pointId: string, atMs: number): Promise<void> => {
      clock.set(atMs);
      await new Promise<void>((resolve) => engine.deliver({ arrivedMs: atMs, samples: [{ pointId, atMs, value: 25, unit: null }], refusals: [], committed: resolve }));
    };
    for (let minute = 0; minute < 10; minute += 1) await send(point.id, startMs + minute * MINUTE);
    while ((await store.seal(startMs + 2 * DAY)).more);
    const db = new SQLite(file);
    expect(db.prepare('UPDATE chunk SET data = zeroblob(length(data)) WHERE series = (SELECT id FROM series WHERE point_id = ?)').run(point.id).changes).toBe(1);
    db.close();

    await send(point.id, startMs + 2 * DAY);
    clock.set(startMs + 2 * DAY + 3 * MINUTE);
    await engine.settle();
    expect(fatal).toEqual([]);
    const gaps = await store.journal({ kinds: ['gap'], contains: 'damaged', limit: 10 });
    expect(gaps).toMatchObject([{ siteId: point.siteId, detail: { points: [point.id] } }]);
    await send(point.id, startMs + 2 * DAY + 4 * MINUTE);
    expect(engine.view.latest(point.id)?.atMs).toBe(startMs + 2 * DAY + 4 * MINUTE);
    await engine.stop();
  } finally {
    await store.close();
    rmSync(folder, { recursive: true });
  }
});
