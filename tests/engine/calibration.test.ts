/** Raw is stored; calibrated is judged and shown. What is entered later changes what is shown of the past, not what rang. */
import { afterEach, beforeEach, expect, test } from 'vitest';
import { StandingClock } from '../../src/clock.ts';
import { MINUTE } from '../../src/domain/duration.ts';
import { Quality } from '../../src/domain/reading.ts';
import { calibratedHistory } from '../../src/engine/calibrated-history.ts';
import { Engine } from '../../src/engine/engine.ts';
import { calibrate } from '../../src/ingest/calibration.ts';
import { makeLogger } from '../../src/log.ts';
import type { Store } from '../../src/store/contract.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { storyFleet } from '../stories/fleet.ts';
import { entry } from '../store/examples.ts';

const { fleet, rules } = await storyFleet();
const tank = fleet.tanks[0]?.id ?? '';
const pointId = `${tank}/display-temperature`;
const limit = `${tank}/limit/display-temperature`;
const startMs = Date.parse('2026-03-03T18:00:00Z');

let clock: StandingClock;
let store: Store;
let engine: Engine;
const start = (): Promise<Engine> => Engine.start({ store, fleet, rules, clock, log: makeLogger('silent', clock.now), onPages: () => undefined, onFatal: (error) => { throw error; } });

beforeEach(async () => {
  clock = new StandingClock(startMs);
  store = await openSqliteStore(':memory:');
  engine = await start();
});
afterEach(async () => {
  await engine.stop();
  await store.close();
});

async function send(value: number, atMs: number): Promise<void> {
  clock.set(atMs);
  await new Promise<void>((resolve) => engine.deliver({ arrivedMs: atMs, samples: [{ pointId, atMs, value, unit: null }], refusals: [], committed: resolve }));
}

async function enter(fromMs: number, slope: number, offset: number): Promise<void> {
  await store.putCalibration({ pointId, fromMs, slope, offset, by: 'Ana', why: 'test', enteredMs: clock.now() }, entry({ text: 'calibrated' }));
  await engine.applyFleet(fleet, rules);
}

test('what is judged and shown is calibrated, what is stored is raw, also after a restart', async () => {
  await enter(startMs - 1, 1, 3);
  for (let minute = 0; minute <= 10; minute += 1) await send(26, startMs + minute * MINUTE);
  expect(engine.view.latest(pointId)).toMatchObject({ value: 29 });
  expect(engine.view.statuses.get(limit)).toMatchObject({ base: 'unacknowledged' });
  expect(engine.view.verdict(limit)).toMatchObject({ state: 'breached', summary: expect.stringContaining('29.00 °C') });
  const series = (await store.seriesOf(pointId)) ?? -1;
  expect(new Set((await store.readings(series, 0, 1e15)).map(({ value }) => value))).toEqual(new Set([26]));
  engine = await start();
  expect(engine.view.latest(pointId)).toMatchObject({ value: 29 });
  expect(engine.view.calibrations(pointId)).toMatchObject([{ offset: 3 }]);
});

test('entered later with an earlier time it changes what is shown of then, and rings for nothing that is over', async () => {
  for (let minute = 0; minute <= 10; minute += 1) await send(27, startMs + minute * MINUTE);
  expect(engine.view.openAlarms.size).toBe(0);
  await enter(startMs - 1, 1, 5);
  expect(engine.view.latest(pointId)).toMatchObject({ value: 32 });
  expect(engine.view.openAlarms.size).toBe(0);
  const shown = calibratedHistory(store, (id) => engine.view.calibrations(id));
  const series = (await shown.seriesOf(pointId)) ?? -1;
  expect(new Set((await shown.readings(series, 0, 1e15)).map(({ value }) => value))).toEqual(new Set([32]));
  expect(await shown.latest(series)).toMatchObject({ value: 32 });
  // From now on it is judged by.
  for (let minute = 11; minute <= 15; minute += 1) await send(27, startMs + minute * MINUTE);
  expect([...engine.view.openAlarms.values()]).toMatchObject([{ ruleId: limit }]);
  expect([...engine.view.openAlarms.values()][0]?.beganMs).toBeGreaterThan(startMs + 10 * MINUTE);
});

test('buckets of calibrated history are those of the calibrated readings, also where the calibration changes within one', async () => {
  for (let i = 0; i < 300; i += 1) await send(20 + Math.sin(i) * 2 + (i === 77 ? 100 : 0), startMs + i * 10_000);
  await enter(startMs + 500_500, 1.5, -3);
  await enter(startMs + 1_234_567, -1, 45);
  const shown = calibratedHistory(store, (id) => engine.view.calibrations(id));
  const series = (await shown.seriesOf(pointId)) ?? -1;
  const curve = engine.view.calibrations(pointId);
  const [fromMs, toMs, count] = [startMs + 3, startMs + 2_900_017, 13];
  const widthMs = Math.ceil((toMs - fromMs) / count);
  const buckets = await shown.buckets(series, fromMs, toMs, count);
  expect(buckets).toHaveLength(13);
  for (const bucket of buckets) {
    const values = (await store.readings(series, bucket.fromMs, Math.min(bucket.fromMs + widthMs, toMs))).filter(({ quality }) => (quality & Quality.outOfRange) === 0).map(({ atMs, value }) => calibrate(curve, atMs, value));
    expect(bucket.n).toBe(values.length);
    expect([bucket.min, bucket.max]).toEqual([expect.closeTo(Math.min(...values), 6), expect.closeTo(Math.max(...values), 6)]);
    expect(bucket.mean).toBeCloseTo(values.reduce((a, b) => a + b, 0) / values.length, 6);
  }
});
