/** A connection that breaks again and again must not put off for ever what is to be told of its first outage. */
import { expect, test } from 'vitest';
import { StandingClock } from '../../src/clock.ts';
import { MINUTE, SECOND } from '../../src/domain/duration.ts';
import { Engine } from '../../src/engine/engine.ts';
import { makeLogger } from '../../src/log.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { storyFleet } from '../stories/fleet.ts';

const startMs = Date.parse('2026-03-03T12:00:00Z');

test('what an outage lost is told within the hour, and what waits does not pile up', async () => {
  const { fleet } = await storyFleet();
  const point = fleet.points.find(({ kind, source }) => kind === 'temperature' && source !== null);
  if (point === undefined) throw new Error('the story has a thermometer');
  const clock = new StandingClock(startMs);
  const store = await openSqliteStore(':memory:');
  const engine = await Engine.start({ store, fleet, rules: [], clock, log: makeLogger('silent', clock.now), onPages: () => undefined, onFatal: (error) => { throw error; } });
  const send = async (atMs: number): Promise<void> => {
    clock.set(atMs);
    await new Promise<void>((resolve) => engine.deliver({ arrivedMs: atMs, samples: [{ pointId: point.id, atMs, value: 25, unit: null }], refusals: [], committed: resolve }));
  };
  for (let n = 0; n < 20; n += 1) await send(startMs + n * 30 * SECOND);
  // Four minutes without a connection, then one that breaks for five seconds in each minute.
  let nowMs = startMs + 14 * MINUTE;
  clock.set(nowMs);
  engine.reconnected(startMs + 10 * MINUTE);
  for (let minute = 0; minute < 60; minute += 1, nowMs += MINUTE) {
    await send(nowMs);
    await send(nowMs + 30 * SECOND);
    clock.set(nowMs + 45 * SECOND);
    engine.reconnected(nowMs + 40 * SECOND);
    await engine.settle();
  }
  expect(await store.journal({ kinds: ['gap'], contains: 'there was no connection', limit: 10 })).toMatchObject([{ siteId: point.siteId, detail: { outage: { fromMs: startMs + 10 * MINUTE } } }]);
  expect((await store.load()).outages.length).toBeLessThan(30);
  await engine.stop();
  await store.close();
});
