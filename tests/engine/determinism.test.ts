/**
 * Same readings in, same alarms out: one by one or in batches of any size, with any number of ticks, restarted (as after kill -9)
 * at any point, and with the same fleet taken anew at any point. A failure prints its seed.
 */
import { StandingClock } from '../../src/clock.ts';
import { expect, test } from 'vitest';
import type { Delivery } from '../../src/domain/delivery.ts';
import type { PresenceChange } from '../../src/domain/presence.ts';
import { MINUTE } from '../../src/domain/duration.ts';
import { Engine } from '../../src/engine/engine.ts';
import { makeLogger } from '../../src/log.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import type { Fleet } from '../../src/domain/fleet.ts';
import type { Rule } from '../../src/rules/contract.ts';
import { storyFleet } from '../stories/fleet.ts';
import { causeKinds } from '../stories/one-cause/kinds.ts';

interface World {
  readonly fleet: Fleet;
  readonly rules: readonly Rule[];
}

/** One of the points takes its cadence from its source. */
const withSentCadence = ({ fleet, rules }: World): World => ({ rules, fleet: { ...fleet, points: fleet.points.map((point, index) => (index === 0 ? { ...point, cadence: 'sent' as const } : point)) } });
/** The second has mains, gateways and pumps that explain each other's alarms, and go and come as they like. */
const worlds = { 'one tank': withSentCadence(await storyFleet()), 'a site with causes': withSentCadence(await storyFleet('one-cause', causeKinds)) };
const startMs = Date.parse('2026-03-03T18:00:00Z');

/** A small linear congruential generator: enough for choosing, and the same everywhere. */
function random(seed: number): () => number {
  let state = seed >>> 0;
  return () => {
    state = (Math.imul(state, 1_664_525) + 1_013_904_223) >>> 0;
    return state / 2 ** 32;
  };
}

interface Arrival {
  readonly arrivedMs: number;
  readonly pointId: string;
  readonly atMs: number;
  readonly value: number;
  readonly historical?: true;
  readonly nextWithinMs?: number;
  readonly presence?: PresenceChange;
}

/** A day of an uneasy tank: wandering temperature, switching equipment, silences, repetitions, late and out-of-order readings, history, gateways that go and come, promised cadences, a wrong clock. */
function uneasyDay(seed: number, { fleet }: World): Arrival[] {
  const next = random(seed);
  const arrivals: Arrival[] = [];
  for (const point of fleet.points) {
    let level = 0;
    let silentUntil = 0;
    for (let i = 0; i < 1500; i += 1) {
      const atMs = startMs + i * MINUTE + Math.floor(next() * 1000);
      if (next() < 0.004) silentUntil = atMs + next() * 40 * MINUTE;
      if (next() < 0.02) level = next();
      if (atMs < silentUntil) continue;
      const value = point.kind === 'temperature' ? 24 + level * 6 + next() * 0.2 : point.kind === 'level' ? Math.round(level * 400) : level > 0.5 ? 55 + next() * 250 : 0;
      const lateMs = next() < 0.03 ? next() * 20 * MINUTE : next() * 2000;
      // A clock that runs three hours behind for a while.
      const stampMs = point === fleet.points[1] && i > 400 && i < 700 ? atMs - 180 * MINUTE : atMs;
      const promised = next() < 0.01 ? { nextWithinMs: MINUTE * (1 + Math.floor(next() * 20)) } : {};
      arrivals.push({ arrivedMs: Math.floor(atMs + lateMs), pointId: point.id, atMs: stampMs, value, ...promised });
      // Sent as history, now and then with a time ahead of everything live.
      if (next() < 0.01) arrivals.push({ arrivedMs: Math.floor(atMs + lateMs), pointId: point.id, atMs: atMs + (next() < 0.5 ? 7 : -MINUTE), value: 99, historical: true });
      if (next() < 0.004) {
        const pointIds = fleet.points.filter(() => next() < 0.5).map(({ id }) => id);
        arrivals.push({ arrivedMs: atMs, pointId: point.id, atMs, value, presence: { pointIds, state: 'offline', atMs, why: 'its gateway is offline', journal: `Gateway ${i} is offline` } });
        if (next() < 0.8) arrivals.push({ arrivedMs: Math.floor(atMs + next() * 30 * MINUTE), pointId: point.id, atMs, value, presence: { pointIds, state: 'online', atMs, why: '', journal: `Gateway ${i} is back` } });
      }
      if (next() < 0.01) arrivals.push({ arrivedMs: Math.floor(atMs + lateMs + next() * 5000), pointId: point.id, atMs, value });
    }
  }
  return arrivals.sort((a, b) => a.arrivedMs - b.arrivedMs || (a.pointId < b.pointId ? -1 : 1));
}

async function run({ fleet, rules }: World, arrivals: readonly Arrival[], seed: number, options: { batch: number; ticks: boolean; restarts: boolean; fleets?: boolean }): Promise<unknown> {
  const next = random(seed);
  const clock = new StandingClock(startMs - 1);
  const store = await openSqliteStore(':memory:');
  const start = (): Promise<Engine> => Engine.start({ store, fleet, rules, clock, log: makeLogger('silent', clock.now), onPages: () => undefined, onFatal: (error) => { throw error; } });
  let engine = await start();
  let waiting: Promise<void>[] = [];
  for (const [index, { arrivedMs, presence, ...sample }] of arrivals.entries()) {
    clock.set(arrivedMs);
    // Somebody acknowledges now and then, at the same moments in every run.
    if (index % 97 === 0) {
      await Promise.all(waiting);
      waiting = [];
      const open = [...engine.view.openAlarms.values()].filter(({ state }) => state !== 'acknowledged').sort((a, b) => a.id - b.id)[0];
      if (open !== undefined) await engine.command({ type: 'acknowledge', alarmId: open.id, by: 'first', via: 'web' });
    }
    waiting.push(new Promise((resolve) => {
      const delivery: Delivery = { arrivedMs, samples: presence === undefined ? [{ ...sample, unit: null }] : [], refusals: [], ...(presence === undefined ? {} : { presence: [presence] }), committed: resolve };
      expect(engine.deliver(delivery)).toBe(true);
    }));
    if (next() < 1 / options.batch) {
      await Promise.all(waiting);
      waiting = [];
      if (options.ticks && next() < 0.3) await engine.settle();
      if (options.restarts && next() < 0.05) engine = await start();
      if (options.fleets && next() < 0.05) await engine.applyFleet(fleet, rules);
    }
  }
  await Promise.all(waiting);
  clock.set(startMs + 1600 * MINUTE);
  await engine.settle();
  await engine.stop();
  const alarms = await store.alarms({ limit: 10_000 });
  const pages = await store.pages({ limit: 10_000 });
  const journal = (await store.journal({ limit: 100_000 })).map(({ id: _id, ...entry }) => entry).sort((a, b) => a.atMs - b.atMs || (a.text < b.text ? -1 : 1));
  await store.close();
  return { alarms, pages: pages.map(({ id, alarmId, personId, reason, createdMs }) => ({ id, alarmId, personId, reason, createdMs })), journal };
}

test.each([1, 2, 3].flatMap((seed) => (['one tank', 'a site with causes'] as const).map((name) => ({ seed, name }))))('$name, seed $seed', async ({ seed, name }) => {
  const world = worlds[name];
  const arrivals = uneasyDay(seed, world);
  const plain = await run(world, arrivals, seed, { batch: 1, ticks: false, restarts: false });
  expect(plain).toHaveProperty('alarms.length', expect.toSatisfy((length: number) => length > 10));
  expect(plain).toHaveProperty('pages.length', expect.toSatisfy((length: number) => length > 10));
  expect(JSON.stringify(plain)).toContain('3 h behind');
  for (const reason of name === 'one tank' ? [] : ['suppressed', 'explained', 'surfaced']) expect(JSON.stringify(plain)).toContain(`"reason":"${reason}"`);
  for (const options of [{ batch: 400, ticks: false, restarts: false }, { batch: 7, ticks: true, restarts: false }, { batch: 5, ticks: true, restarts: true }, { batch: 5, ticks: true, restarts: false, fleets: true }]) {
    expect(await run(world, arrivals, seed + 100, options), JSON.stringify({ seed, ...options })).toEqual(plain);
  }
});
