/** The fleet changes while the engine runs: what is equal stays, what is gone ends, what is new is judged. */
import { afterEach, beforeEach, expect, test } from 'vitest';
import { StandingClock } from '../../src/clock.ts';
import { MINUTE } from '../../src/domain/duration.ts';
import type { Fleet, Point } from '../../src/domain/fleet.ts';
import { Engine } from '../../src/engine/engine.ts';
import { makeLogger } from '../../src/log.ts';
import { compileRules } from '../../src/rules/compile.ts';
import { loadRuleKinds } from '../../src/rules/load.ts';
import type { Store } from '../../src/store/contract.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { storyFleet } from '../stories/fleet.ts';

const { fleet } = await storyFleet();
const kinds = await loadRuleKinds();
const rulesOf = (of: Fleet) => compileRules(of, kinds);
const tank = fleet.tanks[0]?.id ?? '';
const temperature = `${tank}/display-temperature`;
const limit = `${tank}/limit/display-temperature`;
const startMs = Date.parse('2026-03-03T18:00:00Z');

let clock: StandingClock;
let store: Store;
let engine: Engine;

beforeEach(async () => {
  clock = new StandingClock(startMs);
  store = await openSqliteStore(':memory:');
  engine = await Engine.start({ store, fleet, rules: rulesOf(fleet), clock, log: makeLogger('silent', clock.now), onPages: () => undefined, onFatal: (error) => { throw error; } });
});
afterEach(async () => {
  await engine.stop();
  await store.close();
});

async function send(pointId: string, value: number, atMs: number): Promise<void> {
  clock.set(atMs);
  await new Promise<void>((resolve) => engine.deliver({ arrivedMs: atMs, samples: [{ pointId, atMs, value, unit: null }], refusals: [], committed: resolve }));
}

async function ringing(): Promise<void> {
  for (let minute = 0; minute <= 20; minute += 1) await send(temperature, 30, startMs + minute * MINUTE);
  expect(engine.view.statuses.get(limit)).toMatchObject({ base: 'unacknowledged' });
}

const everything = async () => ({
  live: { ...(await store.load()), aliveMs: null }, alarms: await store.alarms({ limit: 100 }), journal: await store.journal({ limit: 1000 }), pages: await store.pages({ limit: 100 }),
});

test('the same fleet again changes nothing', async () => {
  await ringing();
  await engine.settle();
  const before = await everything();
  const verdict = engine.view.verdict(limit);
  expect(verdict).toMatchObject({ state: 'breached' });
  await engine.applyFleet(fleet, rulesOf(fleet));
  expect(await everything()).toEqual(before);
  expect(engine.view.verdict(limit)).toEqual(verdict);
  expect(engine.view.latest(temperature)).toMatchObject({ value: 30 });
});

test('a rule that is gone ends its alarm; when it comes back it begins anew', async () => {
  await ringing();
  const alarmId = engine.view.statuses.get(limit)?.alarmId ?? -1;
  const without: Fleet = { ...fleet, ruleSettings: [...fleet.ruleSettings.filter(({ kind }) => kind !== 'limit'), { tankId: tank, kind: 'limit', subject: temperature, enabled: false, priority: null, onDelayMs: null, offDelayMs: null, settings: {} }] };
  await engine.applyFleet(without, rulesOf(without));
  expect(engine.view.statuses.has(limit)).toBe(false);
  expect(engine.view.openAlarms.has(alarmId)).toBe(false);
  expect(await store.alarm(alarmId)).toMatchObject({ closedMs: clock.now() });
  expect((await store.journal({ contains: 'no longer in the fleet', limit: 5 })).map(({ alarmId: id }) => id)).toEqual([alarmId]);
  await engine.applyFleet(fleet, rulesOf(fleet));
  expect(engine.view.statuses.get(limit)).toMatchObject({ base: 'normal', verdict: 'breached', verdictSinceMs: clock.now() });
});

test('a new point is judged, from the next delivery on; one that is gone is refused', async () => {
  const room: Point = { id: `${tank}/sump-temperature`, siteId: fleet.tanks[0]?.siteId ?? '', tankId: tank, equipmentId: null, name: 'Sump', kind: 'temperature', place: 'sump', unit: '°F', everyMs: 30_000, silentAfterMs: 5 * MINUTE, keepMs: null, source: null };
  const more: Fleet = { ...fleet, points: [...fleet.points, room], ruleSettings: [...fleet.ruleSettings, { tankId: tank, kind: 'limit', subject: room.id, enabled: true, priority: 'urgent', onDelayMs: 0, offDelayMs: 0, settings: { high: 28 } }] };
  const delivered: number[] = [];
  const taken = engine.applyFleet(more, rulesOf(more));
  // Delivered before the change has been made: it stands behind it in the queue.
  engine.deliver({ arrivedMs: startMs, samples: [{ pointId: room.id, atMs: startMs, value: 86, unit: null }], refusals: [], committed: () => delivered.push(1) });
  await taken;
  await engine.settle();
  expect(delivered).toEqual([1]);
  expect(engine.view.latest(room.id)).toMatchObject({ value: 30 });
  // Judged, and held back for a moment: the pump or the heater of the tank might explain it.
  expect(engine.view.statuses.get(`${tank}/limit/sump-temperature`)).toMatchObject({ verdict: 'breached', heldBackMs: expect.any(Number) });
  await engine.applyFleet(fleet, rulesOf(fleet));
  expect(engine.view.latest(room.id)).toBeNull();
  await send(room.id, 86, startMs + MINUTE);
  expect((await store.refusals(5)).map(({ reason }) => reason)).toEqual([expect.stringContaining('no point')]);
});
