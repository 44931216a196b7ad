import { expect, test } from 'vitest';
import { HOUR, MINUTE, SECOND } from '../../src/domain/duration.ts';
import type { Point } from '../../src/domain/fleet.ts';
import { Quality } from '../../src/domain/reading.ts';
import { chartSeries } from '../../src/web/series.ts';
import { FakeStore } from './fakes.ts';

const point: Point = {
  id: 'tank/temp', siteId: 'site', tankId: 'tank', equipmentId: null, name: 'Temperature', kind: 'temperature', place: 'display', unit: null,
  everyMs: MINUTE, silentAfterMs: 5 * MINUTE, keepMs: null, source: null,
};

function storeWith(values: readonly (readonly [number, number, number?])[]): FakeStore {
  const store = new FakeStore();
  store.addReadings(point.id, values);
  return store;
}

const everyMinute = (fromMs: number, toMs: number, valueAt: (atMs: number) => number = () => 25): [number, number][] => {
  const values: [number, number][] = [];
  for (let atMs = fromMs; atMs < toMs; atMs += MINUTE) values.push([atMs, valueAt(atMs)]);
  return values;
};

test('a point that never sent anything has an empty series, not a line at zero', async () => {
  expect(await chartSeries(new FakeStore(), point, { fromMs: 0, toMs: HOUR }, 600)).toMatchObject({ t: [], mean: [], suspectMs: [] });
});

test('over a short span every reading stands at its own time', async () => {
  const store = storeWith([[1000, 25], [61_500, 25.5], [121_000, 26]]);
  expect(await chartSeries(store, point, { fromMs: 0, toMs: HOUR }, 600)).toMatchObject({ shape: 'readings', unit: '°C', t: [1000, 61_500, 121_000], mean: [25, 25.5, 26], min: null, max: null });
});

test('silence breaks the line', async () => {
  const store = storeWith([...everyMinute(0, 10 * MINUTE), ...everyMinute(30 * MINUTE, 40 * MINUTE)]);
  const { t, mean } = await chartSeries(store, point, { fromMs: 0, toMs: HOUR }, 600);
  expect(mean.filter((value) => value === null)).toHaveLength(1);
  const gap = mean.indexOf(null);
  expect([t[gap - 1], t[gap + 1]]).toEqual([9 * MINUTE, 30 * MINUTE]);
});

test('one reading lost does not', async () => {
  const store = storeWith(everyMinute(0, HOUR).filter(([atMs]) => atMs !== 20 * MINUTE));
  expect((await chartSeries(store, point, { fromMs: 0, toMs: HOUR }, 600)).mean).not.toContain(null);
});

test('history slower than the live source is a line all the same', async () => {
  const store = storeWith(everyMinute(0, 48 * HOUR).filter(([atMs]) => atMs % (30 * MINUTE) === 0));
  expect((await chartSeries(store, point, { fromMs: 0, toMs: 10 * HOUR }, 600)).mean).not.toContain(null);
  expect((await chartSeries(store, point, { fromMs: 0, toMs: 48 * HOUR }, 600)).mean).not.toContain(null);
});

test('over a long span a single spike still shows, in the band', async () => {
  const store = storeWith(everyMinute(0, 48 * HOUR, (atMs) => (atMs === 1441 * MINUTE ? 31 : 25)));
  const series = await chartSeries(store, point, { fromMs: 0, toMs: 48 * HOUR }, 100);
  expect(series.shape).toBe('buckets');
  expect(series.t).toHaveLength(100);
  expect(Math.max(...(series.max ?? []).filter((value) => value !== null))).toBe(31);
  expect(series.t[0]).toBe((48 * HOUR) / 100 / 2);
  // 28 or 29 readings of 25 °C and one of 31 °C, rounded to four decimals.
  expect(series.mean[50]).toBeCloseTo(25 + 6 / 29, 1);
});

test('a gap in buckets is a gap in all three lines', async () => {
  const store = storeWith([...everyMinute(0, 12 * HOUR), ...everyMinute(24 * HOUR, 48 * HOUR)]);
  const series = await chartSeries(store, point, { fromMs: 0, toMs: 48 * HOUR }, 96);
  for (const column of [series.mean, series.min, series.max]) expect(column?.filter((value) => value === null)).toHaveLength(1);
});

test('what cannot be true is named, not drawn', async () => {
  const store = storeWith([[0, 25], [MINUTE, 85, Quality.outOfRange], [2 * MINUTE, 25]]);
  expect(await chartSeries(store, point, { fromMs: 0, toMs: HOUR }, 600)).toMatchObject({ t: [0, 2 * MINUTE], mean: [25, 25], suspectMs: [MINUTE] });
});

test('a source much faster than it was declared does not flood the page', async () => {
  const store = storeWith(Array.from({ length: 3600 }, (_, index): [number, number] => [index * SECOND, 25]));
  const series = await chartSeries(store, point, { fromMs: 0, toMs: HOUR }, 200);
  expect(series.shape).toBe('buckets');
  expect(series.t.length).toBeLessThanOrEqual(200);
});

test('where buckets follow whole hours, each stands in the middle of what it holds', async () => {
  const quarterHours = (fromMs: number, toMs: number): [number, number][] => everyMinute(fromMs, toMs, (atMs) => atMs / HOUR).filter(([atMs]) => atMs % (15 * MINUTE) === 0);
  // From half past, so that no edge of an hour is an edge of the span; 365 days in 100 buckets are 88 hours each.
  const span = { fromMs: HOUR / 2, toMs: HOUR / 2 + 365 * 24 * HOUR };
  const store = storeWith(quarterHours(0, span.toMs + 24 * HOUR));
  const { t, mean } = await chartSeries(store, point, span, 100);
  expect(t).toHaveLength(mean.length);
  // The value is its own time in hours, so a mean says where the middle of its readings lies: half a step of 15 minutes before the bucket's.
  for (const [index, atMs] of t.entries()) expect(Math.abs(atMs / HOUR - (mean[index] ?? Number.NaN))).toBeLessThanOrEqual(0.25);
  expect(t.every((atMs) => atMs >= span.fromMs && atMs <= span.toMs)).toBe(true);
});
