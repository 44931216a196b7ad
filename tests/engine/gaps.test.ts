/** What is missing after an outage, decided from stored readings alone. Mosquitto's queue of 1,000 is its documented default (mosquitto.conf, max_queued_messages). */
import { expect, test } from 'vitest';
import { MINUTE, SECOND } from '../../src/domain/duration.ts';
import type { Point } from '../../src/domain/fleet.ts';
import type { Outage } from '../../src/domain/outage.ts';
import { Quality } from '../../src/domain/reading.ts';
import { gapEntry, gapOf } from '../../src/engine/gaps.ts';

const point: Point = { id: 't/p', siteId: 's', tankId: 't', equipmentId: null, name: 'P', kind: 'temperature', place: 'display', unit: null, everyMs: 10 * SECOND, silentAfterMs: 5 * MINUTE, keepMs: null, source: { topic: 'x', format: 'number', options: {} } };
const outage = (fromMs: number, toMs: number, cause: Outage['cause'] = 'down'): Outage => ({ id: 'x', cause, siteId: null, fromMs, toMs, dueMs: toMs + 2 * MINUTE });
const every = (stepMs: number, fromMs: number, toMs: number, quality = 0) => Array.from({ length: Math.floor((toMs - fromMs) / stepMs) }, (_, i) => ({ atMs: fromMs + i * stepMs, quality }));
const arrived = Quality.stampedOnArrival;

test('nothing is missing where the broker kept everything', () => {
  expect(gapOf(point, outage(60_000, 200_000), every(10_000, 0, 400_000))).toBeNull();
});

test('the hole between the last and the next reading, in readings of the measured cadence', () => {
  const readings = [...every(10_000, 0, 60_000), ...every(10_000, 200_000, 300_000)];
  expect(gapOf(point, outage(55_000, 199_000), readings)).toEqual({ pointId: 't/p', fromMs: 50_000, toMs: 200_000, missing: 14 });
  // Declared once in ten seconds, sent once in thirty: fewer are missing.
  expect(gapOf(point, outage(595_000, 1_000_000), [...every(30_000, 0, 600_000), ...every(30_000, 1_050_000, 1_200_000)])?.missing).toBe(15);
  // Too little measured: as declared.
  expect(gapOf(point, outage(15_000, 100_000), [{ atMs: 0, quality: 0 }, { atMs: 10_000, quality: 0 }, { atMs: 110_000, quality: 0 }])?.missing).toBe(9);
});

test('a queue that overflowed keeps the first thousand and drops the rest: the hole begins where it was full', () => {
  const readings = [...every(1000, 0, 100_000), ...every(1000, 100_000, 1_100_000), ...every(1000, 2_000_000, 2_100_000)];
  expect(gapOf({ ...point, everyMs: 1000 }, outage(100_000, 2_000_000), readings)).toEqual({ pointId: 't/p', fromMs: 1_099_000, toMs: 2_000_000, missing: 900 });
});

test('stamped on arrival, what was held back comes at once: that much is not missing', () => {
  const burst = (count: number) => Array.from({ length: count }, (_, i) => ({ atMs: 700_000 + i, quality: arrived }));
  const before = every(10_000, 0, 100_000, arrived);
  const after = every(10_000, 710_000, 820_000, arrived);
  expect(gapOf(point, outage(95_000, 700_000), [...before, ...burst(60), ...after])).toBeNull();
  expect(gapOf(point, outage(95_000, 700_000), [...before, ...burst(20), ...after])?.missing).toBe(41);
});

test('holes elsewhere, jitter, and a point not heard since are not told', () => {
  const readings = [...every(10_000, 0, 60_000), ...every(10_000, 200_000, 300_000)];
  expect(gapOf(point, outage(210_000, 290_000), readings)).toBeNull();
  expect(gapOf(point, outage(55_000, 199_000), readings, 60_000)).toBeNull();
  expect(gapOf(point, outage(55_000, 80_000), [...every(10_000, 0, 60_000), ...every(10_000, 81_000, 300_000)])?.missing ?? 0).toBe(2);
  expect(gapOf(point, outage(55_000, 75_000), [...every(10_000, 0, 60_000), ...every(10_000, 76_000, 300_000)])).toBeNull();
  expect(gapOf(point, outage(55_000, 199_000), every(10_000, 0, 60_000))).toBeNull();
  // A long outage in which one reading in fifty is missing: a clock that drifts.
  expect(gapOf(point, outage(0, 10_000_000), [...every(10_000, -200_000, 0, arrived), ...Array.from({ length: 990 }, (_, i) => ({ atMs: 10_000_000 + i, quality: arrived }))])).toBeNull();
});

test('a silence nobody knows the cause of must be as long as the point may be silent, and is told of its own holes', () => {
  const readings = [...every(10_000, 0, 60_000), ...every(10_000, 200_000, 300_000), ...every(10_000, 700_000, 800_000)];
  expect(gapOf(point, outage(50_000, 700_000, 'silence'), readings)).toMatchObject({ fromMs: 290_000, toMs: 700_000, missing: 40 });
  expect(gapOf(point, outage(300_000, 700_000, 'silence'), readings)).toBeNull();
});

test('one row a site', () => {
  const site = { id: 's', clientId: 'c', name: 'Hall', timeZone: 'America/Denver', address: null, contacts: [], access: null, breaker: null, waterShutOff: null, topics: 's/', account: null, httpTokenEnv: null };
  const fromMs = Date.parse('2026-03-03T18:00:00Z');
  const gaps = [{ pointId: 'a', fromMs, toMs: fromMs + MINUTE, missing: 5 }, { pointId: 'b', fromMs: fromMs - MINUTE, toMs: fromMs, missing: 7 }];
  expect(gapEntry(site, outage(fromMs, fromMs + MINUTE, 'connection'), gaps)).toMatchObject({
    kind: 'gap', siteId: 's', atMs: fromMs + 3 * MINUTE, text: 'Hall: about 12 readings of 2 points are missing from Tue 3 Mar 2026, 10:59 MST to Tue 3 Mar 2026, 11:01 MST (there was no connection to the broker)', detail: { missing: 12, points: gaps },
  });
  expect(gapEntry(site, outage(0, 1), [])).toBeNull();
});
