/** Counters as a rate, and readings that cannot be true marked as such. */
import { expect, test } from 'vitest';
import { DAY, HOUR, MINUTE } from '../../src/domain/duration.ts';
import { Quality } from '../../src/domain/reading.ts';
import type { Point } from '../../src/domain/fleet.ts';
import { increaseSeries } from '../../src/web/series.ts';
import { FakeStore } from './fakes.ts';
import { makeSite } from './site.ts';

const point: Point = { id: 't/energy', siteId: 's', tankId: 't', equipmentId: null, name: 'Energy', kind: 'energy', place: 'equipment', unit: null, everyMs: 10 * MINUTE, silentAfterMs: HOUR, keepMs: null, source: null };

test('a counter is drawn as what it counted an hour, through a reset and across the borders of what is read at once', async () => {
  const store = new FakeStore();
  // 0.6 kWh an hour for twenty days; reset on the tenth.
  store.addReadings(point.id, Array.from({ length: 20 * 144 }, (_, i) => [i * 10 * MINUTE, Number(((i < 1440 ? i : i - 1440) * 0.1).toFixed(1))] as const));
  const series = await increaseSeries(store, point, { fromMs: 0, toMs: 19 * DAY });
  expect(series.unit).toBe('kWh/h');
  expect(series.t).toHaveLength(19 * 24);
  const odd = series.mean.filter((value) => value === null || Math.abs(value - 0.6) > 1e-9);
  // What was counted between the last reading and the reset is lost: one hour has less.
  expect(odd).toHaveLength(1);
  expect(odd[0]).toBeCloseTo(0.5, 9);
  expect(new Set(series.t).size).toBe(series.t.length);
  const short = await increaseSeries(store, point, { fromMs: DAY, toMs: DAY + HOUR });
  expect(short.mean).toHaveLength(6);
  for (const value of short.mean) expect(value).toBeCloseTo(0.6, 9);
});

test('the API gives the increase of a counter, and says so where there is none', async () => {
  const { logIn } = await makeSite();
  const visitor = await logIn();
  const refused = await visitor.get('/api/points/lobby/display-temperature/series?from=0&to=1000&as=increase');
  expect([refused.statusCode, refused.json()]).toEqual([400, { message: expect.stringContaining('only a counter') }]);
});

test('readings that cannot be true are marked on the chart and named beside the value', async () => {
  const { world, clock, logIn } = await makeSite();
  const visitor = await logIn();
  const chart = (await visitor.get('/tanks/lobby')).body;
  expect(chart).toMatch(/<path class="suspect" d="M\d/);
  expect(chart).toContain('1 reading that cannot be true, left out and never judged');
  expect(chart).not.toContain('an impossible value came');
  world.store.addReadings('lobby/display-temperature', [[clock.now() - 1000, 85, Quality.outOfRange]]);
  expect((await visitor.get('/tanks/lobby')).body).toContain('an impossible value came just now; it is not judged');
});
