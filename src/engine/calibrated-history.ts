/** History as it is shown: every reading as calibrated at its time. What is stored stays raw. */
import type { Calibration } from '../domain/calibration.ts';
import { isUsable, type Reading, type SeriesId } from '../domain/reading.ts';
import { calibrate, type Curve, lineAt } from '../ingest/calibration.ts';
import { bucketEdges } from '../store/bucket-edges.ts';
import type { Bucket, HistoryReader } from '../store/contract.ts';

export type Measured = Pick<HistoryReader, 'seriesOf' | 'readings' | 'buckets' | 'latest'>;

/** @param curveOf calibrations of a point, in order of time; empty when it has none. */
export function calibratedHistory(raw: Measured, curveOf: (pointId: string) => readonly Calibration[]): Measured {
  // Series are handed out by point id and stay for good, so whoever holds one has asked here before.
  const pointOf = new Map<SeriesId, string>();
  const curve = (series: SeriesId): Curve => curveOf(pointOf.get(series) ?? '');
  const calibrated = (reading: Reading, by: Curve): Reading => ({ ...reading, value: calibrate(by, reading.atMs, reading.value) });
  return {
    async seriesOf(pointId) {
      const series = await raw.seriesOf(pointId);
      if (series !== null) pointOf.set(series, pointId);
      return series;
    },
    async readings(series, fromMs, toMs) {
      const by = curve(series);
      const readings = await raw.readings(series, fromMs, toMs);
      return by.length === 0 ? readings : readings.map((reading) => calibrated(reading, by));
    },
    async latest(series) {
      const reading = await raw.latest(series);
      return reading === null ? null : calibrated(reading, curve(series));
    },
    async buckets(series, fromMs, toMs, count) {
      const by = curve(series);
      const buckets = await raw.buckets(series, fromMs, toMs, count);
      if (by.length === 0) return buckets;
      const widthMs = bucketEdges(fromMs, toMs, count)?.widthMs ?? 1;
      return Promise.all(buckets.map(async (bucket) => {
        // What a wide bucket holds of hours beyond the span is not part of it.
        const [startMs, endMs] = [Math.max(bucket.fromMs, fromMs), Math.min(bucket.fromMs + widthMs, toMs)];
        // A straight line maps lowest, highest and mean; only where it changes within the bucket are the readings needed.
        if (!by.some((line) => line.fromMs > startMs && line.fromMs < endMs)) return straight(bucket, startMs, by);
        const readings = (await raw.readings(series, startMs, endMs)).filter(({ quality }) => isUsable(quality));
        return gathered(bucket, readings.map((reading) => calibrate(by, reading.atMs, reading.value)));
      }));
    },
  };
}

function straight(bucket: Bucket, startMs: number, by: Curve): Bucket {
  const line = lineAt(by, startMs);
  if (line === null) return bucket;
  const at = (value: number): number => calibrate(by, startMs, value);
  const ends = [at(bucket.min), at(bucket.max)];
  return { ...bucket, min: Math.min(...ends), max: Math.max(...ends), mean: at(bucket.mean) };
}

function gathered(bucket: Bucket, values: readonly number[]): Bucket {
  if (values.length === 0) return bucket;
  let min = Number.POSITIVE_INFINITY;
  let max = Number.NEGATIVE_INFINITY;
  let sum = 0;
  for (const value of values) {
    min = Math.min(min, value);
    max = Math.max(max, value);
    sum += value;
  }
  return { fromMs: bucket.fromMs, n: values.length, min, max, mean: sum / values.length };
}
