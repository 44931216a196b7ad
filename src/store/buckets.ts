/** A long span as few buckets, for charts. */
import type { Database } from 'better-sqlite3';
import type { SeriesId } from '../domain/reading.ts';
import type { Bucket } from './contract.ts';
import { USABLE } from './latest.ts';

interface Bounds {
  readonly series: bigint;
  readonly from: bigint;
  readonly to: bigint;
  readonly width: bigint;
}

/**
 * Buckets are as wide as the span divided by `count`, rounded up to whole milliseconds, so that all are equally wide; the last may reach past the span
 * but holds only what lies in it.
 */
export function bucketsOn(db: Database): (series: SeriesId, fromMs: number, toMs: number, count: number) => readonly Bucket[] {
  const select = db.prepare<[Bounds], Bucket>(
    `SELECT @from + (at_ms - @from) / @width * @width AS fromMs, count(*) AS n, min(value) AS min, max(value) AS max, avg(value) AS mean
     FROM reading WHERE series = @series AND at_ms >= @from AND at_ms < @to AND ${USABLE}
     GROUP BY 1 ORDER BY 1`,
  );
  return (series, fromMs, toMs, count) => {
    if (!(toMs > fromMs) || !(count >= 1)) return [];
    // Stamps are whole milliseconds, so rounding both ends up leaves the same readings inside.
    const from = Math.ceil(fromMs);
    const to = Math.ceil(toMs);
    const width = Math.max(1, Math.ceil((to - from) / Math.floor(count)));
    // As BigInt: a bound number is REAL, and the division would not be a whole one.
    return select.all({ series: BigInt(series), from: BigInt(from), to: BigInt(to), width: BigInt(width) });
  };
}
