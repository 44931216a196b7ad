/** A gateway that dies takes the value of its points with it, at once; history never stands for the present; a promised cadence moves silence. */
import { afterEach, expect, it } from 'vitest';
import { StandingClock } from '../../src/clock.ts';
import type { Delivery } from '../../src/domain/delivery.ts';
import { MINUTE } from '../../src/domain/duration.ts';
import type { Fleet } from '../../src/domain/fleet.ts';
import type { PresenceChange } from '../../src/domain/presence.ts';
import type { Sample } from '../../src/domain/reading.ts';
import { Engine } from '../../src/engine/engine.ts';
import { makeLogger } from '../../src/log.ts';
import type { Store } from '../../src/store/contract.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { presentOf } from '../../src/web/present.ts';
import { storyFleet } from '../stories/fleet.ts';

const { fleet, rules } = await storyFleet();
const startMs = Date.parse('2026-03-03T18:00:00Z');
const water = fleet.points.find(({ kind, place }) => kind === 'temperature' && place === 'display') ?? fleet.points[0];
if (water === undefined) throw new Error('the story fleet has no temperature point');
const limit = rules.find((rule) => rule.kind.kind === 'limit' && [...rule.roles.values()].some(({ id }) => id === water.id))?.id ?? '';
const silent = rules.find((rule) => rule.kind.kind === 'silent-point' && rule.roles.get('value')?.id === water.id)?.id ?? '';

let store: Store;
const clock = new StandingClock(startMs);
afterEach(() => store.close());

async function begin(of: Fleet = fleet): Promise<Engine> {
  return Engine.start({ store, fleet: of, rules, clock, log: makeLogger('silent', clock.now), onPages: () => undefined, onFatal: (error) => { throw error; } });
}

async function fresh(of: Fleet = fleet): Promise<Engine> {
  clock.set(startMs);
  store = await openSqliteStore(':memory:');
  return begin(of);
}

function send(engine: Engine, arrivedMs: number, parts: Partial<Pick<Delivery, 'samples' | 'presence'>>): Promise<void> {
  clock.set(arrivedMs);
  return new Promise((resolve) => expect(engine.deliver({ arrivedMs, samples: [], refusals: [], ...parts, committed: resolve })).toBe(true));
}

const sample = (atMs: number, value: number, more: Partial<Sample> = {}): Sample => ({ pointId: water.id, atMs, value, unit: null, ...more });
const gone = (atMs: number): PresenceChange => ({ pointIds: [water.id], state: 'offline', atMs, why: 'its gateway lobby/edge-1 is offline', journal: 'Gateway lobby/edge-1 is offline' });
const back = (atMs: number): PresenceChange => ({ ...gone(atMs), state: 'online', journal: 'Gateway lobby/edge-1 is back' });
const journaled = async (): Promise<string[]> => (await store.journal({ limit: 100 })).map(({ text }) => text).filter((text) => text.includes('edge-1')).reverse();

it('makes its points unknown at once, says so once, and brings them back', async () => {
  const engine = await fresh();
  await send(engine, startMs + 1000, { samples: [sample(startMs + 1000, 25)] });
  expect(engine.view.statuses.get(limit)?.verdict).toBe('clear');
  await send(engine, startMs + 2000, { presence: [gone(startMs + 2000)] });
  await send(engine, startMs + 2500, { presence: [gone(startMs + 2500)] });
  expect(engine.view.statuses.get(limit)).toMatchObject({ verdict: 'unknown', unknownWhy: expect.stringMatching(/: its gateway lobby\/edge-1 is offline since Tue 3 Mar 2026, \d\d:00/) });
  expect(presentOf(water, engine.view, rules, startMs + 3000).state).toBe('stale');
  await send(engine, startMs + 4000, { presence: [back(startMs + 4000)], samples: [sample(startMs + 4000, 25.1)] });
  expect(engine.view.statuses.get(limit)?.verdict).toBe('clear');
  expect(presentOf(water, engine.view, rules, startMs + 5000).state).toBe('current');
  expect(await journaled()).toEqual(['Gateway lobby/edge-1 is offline', 'Gateway lobby/edge-1 is back']);
  await engine.stop();
});

it('keeps that over a restart', async () => {
  const first = await fresh();
  await send(first, startMs + 1000, { samples: [sample(startMs + 1000, 25)] });
  await send(first, startMs + 2000, { presence: [gone(startMs + 2000)] });
  await first.stop();
  const second = await begin();
  expect(second.view.offline?.(water.id)).toContain('edge-1 is offline since');
  await send(second, startMs + 3000, { presence: [back(startMs + 3000)] });
  expect(second.view.offline?.(water.id)).toBeNull();
  await second.stop();
  const third = await begin();
  expect(third.view.offline?.(water.id)).toBeNull();
  await third.stop();
});

it('names the gateway when the point falls silent', async () => {
  const engine = await fresh();
  await send(engine, startMs + 1000, { samples: [sample(startMs + 1000, 25)] });
  await send(engine, startMs + 2000, { presence: [gone(startMs + 2000)] });
  expect(engine.view.statuses.get(silent)?.condition).toBe('clear');
  // A minute is left for a cause to show (`glanceMs`).
  for (const moreMs of [0, MINUTE]) {
    clock.set(startMs + 2000 + water.silentAfterMs + moreMs);
    await engine.settle();
  }
  const alarm = [...engine.view.openAlarms.values()].find(({ ruleId }) => ruleId === silent);
  expect(alarm?.summary).toContain('its gateway lobby/edge-1 is offline since');
  await engine.stop();
});

it('believes a point that speaks for itself again', async () => {
  const engine = await fresh();
  await send(engine, startMs + 2000, { presence: [gone(startMs + 2000)] });
  await send(engine, startMs + 3000, { samples: [sample(startMs + 1500, 25)] });
  expect(engine.view.offline?.(water.id)).not.toBeNull();
  await send(engine, startMs + 4000, { samples: [sample(startMs + 4000, 25)] });
  expect(engine.view.offline?.(water.id)).toBeNull();
  expect(engine.view.statuses.get(limit)?.verdict).toBe('clear');
  await engine.stop();
});

it('stores history and judges none of it, even with a time ahead of the present value', async () => {
  const engine = await fresh();
  await send(engine, startMs + 1000, { samples: [sample(startMs + 1000, 25)] });
  await send(engine, startMs + 5000, { samples: [sample(startMs - MINUTE, 45, { historical: true }), sample(startMs + 4000, 45, { historical: true })] });
  clock.set(startMs + 4 * MINUTE);
  await engine.settle();
  expect(engine.view.latest(water.id)?.value).toBe(25);
  expect(engine.view.openAlarms.size).toBe(0);
  const series = await store.seriesOf(water.id);
  expect((await store.readings(series ?? -1, 0, startMs + MINUTE)).map(({ value }) => value)).toEqual([45, 25, 45]);
  await engine.stop();
  const again = await begin();
  expect(again.view.latest(water.id)?.value).toBe(25);
  await again.stop();
});

it('refuses history without a time that can be true', async () => {
  const engine = await fresh();
  await send(engine, startMs + 1000, { samples: [{ ...sample(0, 25, { historical: true }), atMs: null }] });
  expect((await store.refusals(9)).map(({ reason }) => reason)).toEqual([expect.stringContaining('history without a time')]);
  await engine.stop();
});

// RFC 8428 §4.3: "ut" is the most time until the next value.
it('waits as long as the source promised, where the fleet says so, also after a restart', async () => {
  const promised = 60 * MINUTE;
  for (const cadence of ['sent', undefined] as const) {
    const of: Fleet = cadence === undefined ? fleet : { ...fleet, points: fleet.points.map((point) => (point.id === water.id ? { ...point, cadence } : point)) };
    const engine = await fresh(of);
    await send(engine, startMs + 1000, { samples: [sample(startMs + 1000, 25, { nextWithinMs: promised })] });
    clock.set(startMs + 80_000);
    await engine.settle();
    await engine.stop();
    const again = await begin(of);
    // Ticks come often enough that nobody was away.
    for (let minute = 2; minute <= 119; minute += 1) {
      clock.set(startMs + minute * MINUTE);
      await again.settle();
    }
    expect(again.view.statuses.get(silent)?.condition, String(cadence)).toBe(cadence === 'sent' ? 'clear' : 'breached');
    expect(presentOf(water, again.view, rules, clock.now()).state).toBe(cadence === 'sent' ? 'current' : 'stale');
    for (const minute of [121, 122]) {
      clock.set(startMs + minute * MINUTE);
      await again.settle();
    }
    expect(again.view.statuses.get(silent)?.condition).toBe('breached');
    await again.stop();
    await store.close();
  }
  store = await openSqliteStore(':memory:');
});
