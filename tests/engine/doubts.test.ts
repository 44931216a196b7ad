/** A sensor that one rule finds wrong is believed by no other, from stored state alone; whoever puts that alarm aside believes it again. */
import { afterEach, beforeEach, expect, test } from 'vitest';
import { StandingClock } from '../../src/clock.ts';
import { HOUR, MINUTE } from '../../src/domain/duration.ts';
import { Engine } from '../../src/engine/engine.ts';
import { makeLogger } from '../../src/log.ts';
import frozenValue from '../../src/rules/kinds/frozen-value.ts';
import limit from '../../src/rules/kinds/limit.ts';
import { compileRules } from '../../src/rules/compile.ts';
import type { Store } from '../../src/store/contract.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { fleet, point, setting } from '../rules/fleet.ts';

const startMs = Date.parse('2026-03-03T18:00:00Z');
const probe = point('temperature', 'display-temperature', { everyMs: MINUTE });
const installed = fleet({ points: [probe], ruleSettings: [setting('frozen-value', 'display-temperature', { frozenAfter: '1h' })] });
const rules = compileRules(installed, new Map([['limit', limit], ['frozen-value', frozenValue]]));
const frozenId = 'reef/frozen-value/display-temperature';
const limitId = 'reef/limit/display-temperature';

let store: Store;
let clock: StandingClock;
let engine: Engine;

const begin = (): Promise<Engine> => Engine.start({ store, fleet: installed, rules, clock, log: makeLogger('silent', clock.now), onPages: () => undefined, onFatal: (error) => { throw error; } });

beforeEach(async () => {
  clock = new StandingClock(startMs);
  store = await openSqliteStore(':memory:');
  engine = await begin();
});
afterEach(async () => {
  await engine.stop();
  await store.close();
});

/** A reading a minute. */
async function minutes(count: number, celsius: (minute: number) => number): Promise<void> {
  for (let minute = 0; minute < count; minute += 1) {
    const atMs = clock.now() + MINUTE;
    clock.set(atMs);
    await new Promise<void>((resolve) => engine.deliver({ arrivedMs: atMs, samples: [{ pointId: probe.id, atMs, value: celsius(minute), unit: null }], refusals: [], committed: resolve }));
  }
}

const moving = (minute: number): number => 25 + 0.01 * (minute % 7);

test('a frozen value is unknown to other rules at once, after a restart too, and is believed with the first reading that moves', async () => {
  await minutes(20, moving);
  await minutes(75, () => 25.13);
  expect(engine.view.statuses.get(frozenId)?.verdict).toBe('breached');
  expect(engine.view.statuses.get(limitId)).toMatchObject({ verdict: 'unknown', unknownWhy: 'display-temperature: it says the same value over and over, so that nothing is known' });
  await engine.stop();
  engine = await begin();
  await minutes(1, () => 25.13);
  expect(engine.view.statuses.get(limitId)?.verdict).toBe('unknown');
  await minutes(1, () => 25.2);
  expect(engine.view.statuses.get(frozenId)?.verdict).toBe('clear');
  expect(engine.view.statuses.get(limitId)?.verdict).toBe('clear');
});

test('whoever shelves the alarm believes the sensor', async () => {
  await minutes(20, moving);
  await minutes(75, () => 25.13);
  await engine.command({ type: 'shelve', ruleId: frozenId, by: 'ana', why: 'calm water', untilMs: clock.now() + HOUR });
  await minutes(2, () => 25.13);
  expect(engine.view.statuses.get(limitId)?.verdict).toBe('clear');
});
