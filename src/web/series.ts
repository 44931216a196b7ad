/** A point's history as a chart draws it: the readings themselves over short spans, buckets with lowest, highest and mean over long ones. */
import type { Point } from '../domain/fleet.ts';
import { kinds } from '../domain/kinds.ts';
import { countedPer, increments } from '../physics/counter.ts';
import { DAY, HOUR, MINUTE } from '../domain/duration.ts';
import { type Reading, isUsable } from '../domain/reading.ts';
import type { Measured } from '../engine/calibrated-history.ts';
import { bucketEdges } from '../store/bucket-edges.ts';
import type { Bucket } from '../store/contract.ts';

export interface ChartSeries {
  readonly pointId: string;
  readonly unit: string;
  readonly fromMs: number;
  readonly toMs: number;
  /** `readings`: `mean` is each reading's value, `min` and `max` are left out. */
  readonly shape: 'readings' | 'buckets';
  /** Time of each entry, oldest first; for buckets the middle of what lies in the span. */
  readonly t: readonly number[];
  /** `null` breaks the line: nothing was received there. */
  readonly mean: readonly (number | null)[];
  readonly min: readonly (number | null)[] | null;
  readonly max: readonly (number | null)[] | null;
  /** Times of readings that cannot be true (out of their kind's range); over spans of at most some thousand readings. */
  readonly suspectMs: readonly number[];
}

export interface Span {
  readonly fromMs: number;
  readonly toMs: number;
}

export const MAX_BUCKETS = 2000;
/** Buckets leave impossible readings out; over spans of up to so many readings they are looked up one by one. */
const MOST_LOOKED_THROUGH = 12_000;
const MAX_SUSPECTS = 500;

export async function chartSeries(store: Measured, point: Point, span: Span, buckets: number): Promise<ChartSeries> {
  const frame = { pointId: point.id, unit: kinds[point.kind].unit, fromMs: span.fromMs, toMs: span.toMs };
  const series = await store.seriesOf(point.id);
  if (series === null) return { ...frame, shape: 'readings', t: [], mean: [], min: null, max: null, suspectMs: [] };
  const expected = (span.toMs - span.fromMs) / point.everyMs;
  if (expected <= buckets) {
    const readings = await store.readings(series, span.fromMs, span.toMs);
    // A source much faster than its declared cadence would fill the wire: buckets then, too.
    if (readings.length <= 3 * buckets) return { ...frame, ...lineOf(readings, point) };
  }
  const band = bandOf(await store.buckets(series, span.fromMs, span.toMs, buckets), point, span, bucketEdges(span.fromMs, span.toMs, buckets)?.widthMs ?? 0);
  if (expected > MOST_LOOKED_THROUGH) return { ...frame, ...band };
  const suspects = (await store.readings(series, span.fromMs, span.toMs)).filter(({ quality }) => !isUsable(quality));
  return { ...frame, ...band, suspectMs: suspects.slice(-MAX_SUSPECTS).map(({ atMs }) => atMs) };
}

/** How much may be counted in an hour: what the kind that is drawn or pumped can be, in the counter's unit. */
const mostPerHour = { energy: kinds.power.range[1] / 1000 } as const;

export const isCounter = (point: Point): boolean => point.kind in mostPerHour;

/** Read at once; a year of a fast counter must not lie in memory as readings. */
const CHUNK_MS = 7 * DAY;

/** What a counter counted, as a rate per hour: over hours, over ten minutes where the span is short, over days where it is long. */
export async function increaseSeries(store: Measured, point: Point, span: Span): Promise<ChartSeries> {
  const lengthMs = span.toMs - span.fromMs;
  const stepMs = lengthMs <= 6 * HOUR ? 10 * MINUTE : lengthMs <= 60 * DAY ? HOUR : DAY;
  const frame = { pointId: point.id, unit: `${kinds[point.kind].unit}/h`, fromMs: span.fromMs, toMs: span.toMs, shape: 'readings' as const, min: null, max: null };
  const t: number[] = [];
  const mean: (number | null)[] = [];
  const suspectMs: number[] = [];
  const series = await store.seriesOf(point.id);
  if (series === null || !isCounter(point)) return { ...frame, t, mean, suspectMs };
  const firstMs = Math.floor(span.fromMs / stepMs) * stepMs;
  for (let fromMs = firstMs; fromMs < span.toMs; fromMs += CHUNK_MS) {
    const toMs = Math.min(fromMs + CHUNK_MS, span.toMs);
    // From before and until after, so that the first and the last step are covered.
    const readings = await store.readings(series, fromMs - stepMs, toMs + stepMs);
    for (const { atMs, quality } of readings) if (!isUsable(quality) && atMs >= span.fromMs && atMs >= fromMs && atMs < toMs) suspectMs.push(atMs);
    const counted = increments(readings.filter(({ quality }) => isUsable(quality)), mostPerHour.energy);
    for (const { fromMs: step, by } of countedPer(counted, fromMs, toMs, stepMs)) {
      const last = t.at(-1);
      if (last !== undefined && step + stepMs / 2 - last > stepMs) {
        t.push(last + stepMs / 2);
        mean.push(null);
      }
      t.push(step + stepMs / 2);
      mean.push(by === null ? null : (by * HOUR) / stepMs);
    }
  }
  return { ...frame, t, mean, suspectMs };
}

function lineOf(readings: readonly Reading[], point: Point): Pick<ChartSeries, 'shape' | 't' | 'mean' | 'min' | 'max' | 'suspectMs'> {
  const usable = readings.filter((reading) => isUsable(reading.quality));
  const suspectMs = readings.filter((reading) => !isUsable(reading.quality)).map((reading) => reading.atMs);
  const t: number[] = [];
  const mean: (number | null)[] = [];
  const gapMs = gapAfter(usable.map((reading) => reading.atMs), point, 0);
  for (const { atMs, value } of usable) {
    const last = t.at(-1);
    if (last !== undefined && atMs - last > gapMs) {
      t.push(last + (atMs - last) / 2);
      mean.push(null);
    }
    t.push(atMs);
    mean.push(value);
  }
  return { shape: 'readings', t, mean, min: null, max: null, suspectMs };
}

function bandOf(buckets: readonly Bucket[], point: Point, span: Span, widthMs: number): Pick<ChartSeries, 'shape' | 't' | 'mean' | 'min' | 'max' | 'suspectMs'> {
  const t: number[] = [];
  const mean: (number | null)[] = [];
  const min: (number | null)[] = [];
  const max: (number | null)[] = [];
  // A mean has more digits than any chart can show; on the wire they are most of the bytes.
  const scale = 10 ** (kinds[point.kind].decimals + 2);
  const gapMs = gapAfter(buckets.map((bucket) => bucket.fromMs), point, widthMs);
  for (const bucket of buckets) {
    // A wide bucket may begin before the span and end after it, but holds only what lies in it.
    const atMs = Math.round((Math.max(bucket.fromMs, span.fromMs) + Math.min(bucket.fromMs + widthMs, span.toMs)) / 2);
    const last = t.at(-1);
    if (last !== undefined && atMs - last > gapMs) {
      t.push(Math.round(last + (atMs - last) / 2));
      for (const column of [mean, min, max]) column.push(null);
    }
    t.push(atMs);
    mean.push(Math.round(bucket.mean * scale) / scale);
    min.push(bucket.min);
    max.push(bucket.max);
  }
  return { shape: 'buckets', t, mean, min, max, suspectMs: [] };
}

/**
 * From what distance on two neighbours have a gap between them: longer than the point may be silent, than two buckets, and than three
 * times the usual distance in this span (history imported from a logger may be slower than the live source).
 */
function gapAfter(times: readonly number[], point: Point, widthMs: number): number {
  const steps: number[] = [];
  for (let at = 1; at < times.length; at += 1) steps.push((times[at] ?? 0) - (times[at - 1] ?? 0));
  const usual = steps.sort((a, b) => a - b)[Math.floor(steps.length / 2)] ?? 0;
  return Math.max(point.silentAfterMs, 2.5 * widthMs, 3 * usual);
}
