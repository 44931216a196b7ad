/**
 * A long span as few buckets, for charts. Each day is taken from where it costs least: hours counted when it was sealed, its sealed readings, or its
 * rows.
 */
import type { Database } from 'better-sqlite3';
import { DAY, HOUR } from '../domain/duration.ts';
import type { SeriesId } from '../domain/reading.ts';
import { type BucketEdges, bucketEdges } from './bucket-edges.ts';
import { chunkReaderOn } from './chunk.ts';
import type { Columns } from './codec.ts';
import { type ReadingRow, columnsOf, merged } from './columns.ts';
import type { Bucket } from './contract.ts';
import { hotDaysOn } from './hot-days.ts';
import { USABLE } from './latest.ts';
import { eachHour, usableOf } from './rollup.ts';
import { daysOf, within } from './span.ts';
import { Tally } from './tally.ts';

interface Bounds {
  readonly series: bigint;
  readonly from: bigint;
  readonly to: bigint;
  readonly origin: bigint;
  readonly width: bigint;
}

interface Part {
  readonly at: number;
  readonly n: number;
  readonly min: number;
  readonly max: number;
  readonly sum: number;
}

export function bucketsOn(db: Database): (series: SeriesId, fromMs: number, toMs: number, count: number) => readonly Bucket[] {
  const rowParts = db.prepare<[Bounds], Part>(
    `SELECT (at_ms - @origin) / @width AS at, count(*) AS n, min(value) AS min, max(value) AS max, sum(value) AS sum
     FROM reading WHERE series = @series AND at_ms >= @from AND at_ms < @to AND ${USABLE} GROUP BY 1 ORDER BY 1`,
  );
  const rows = db.prepare<[SeriesId, number, number], ReadingRow>('SELECT at_ms, value, quality FROM reading WHERE series = ? AND at_ms >= ? AND at_ms < ? ORDER BY at_ms').raw();
  const rollups = db.prepare<[SeriesId, number, number], { day: number; hours: Uint8Array }>('SELECT day, hours FROM rollup WHERE series = ? AND day BETWEEN ? AND ?');
  const hotDays = hotDaysOn(db);
  const chunks = chunkReaderOn(db);

  return db.transaction((series: SeriesId, fromMs: number, toMs: number, count: number): readonly Bucket[] => {
    const edges = bucketEdges(fromMs, toMs, count);
    if (edges === null) return [];
    const [from, to] = [Math.ceil(fromMs), Math.ceil(toMs)];
    const buckets = new Filling(edges);
    const [firstDay, lastDay] = daysOf(from, to);
    const sealed = chunks.days(series, firstDay, lastDay);
    const hot = new Set(hotDays(series, from, to));
    const hours = new Map(edges.wholeHours && sealed.length > 0 ? rollups.all(series, firstDay, lastDay).map((row) => [row.day, row.hours]) : []);
    for (const day of sealed) {
      const isWhole = !hot.has(day) && day * DAY >= from && (day + 1) * DAY <= to;
      const counted = isWhole ? hours.get(day) : undefined;
      if (counted !== undefined && eachHour(counted, (hour, n, min, max, sum) => buckets.part(day * DAY + hour * HOUR, n, min, max, sum))) continue;
      const readings = chunks.read(series, day);
      if (readings === null) continue;
      const whole = hot.has(day) ? merged(readings, columnsOf(rows.all(series, day * DAY, (day + 1) * DAY))) : readings;
      buckets.readings(usableOf(within(whole, from, to)));
    }
    for (const [start, end] of runsOf([...hot], new Set(sealed))) {
      // As BigInt: a bound number is REAL, and the division would not be a whole one.
      const parts = rowParts.all({
        series: BigInt(series), from: BigInt(Math.max(from, start * DAY)), to: BigInt(Math.min(to, (end + 1) * DAY)), origin: BigInt(edges.originMs), width: BigInt(edges.widthMs),
      });
      for (const { at, n, min, max, sum } of parts) buckets.part(edges.originMs + at * edges.widthMs, n, min, max, sum);
    }
    return buckets.finish();
  });
}

/** Spans of days that hold rows only, as long as no sealed day lies between. */
function runsOf(hotDays: readonly number[], sealed: ReadonlySet<number>): readonly (readonly [number, number])[] {
  const runs: [number, number][] = [];
  for (const day of hotDays) {
    if (sealed.has(day)) continue;
    const last = runs.at(-1);
    if (last !== undefined && last[1] === day - 1) last[1] = day;
    else runs.push([day, day]);
  }
  return runs;
}

class Filling {
  readonly #edges: BucketEdges;
  readonly #tallies = new Map<number, Tally>();

  constructor(edges: BucketEdges) {
    this.#edges = edges;
  }

  part(atMs: number, n: number, min: number, max: number, sum: number): void {
    this.#tally(Math.floor((atMs - this.#edges.originMs) / this.#edges.widthMs)).addMany(n, min, max, sum);
  }

  readings({ atMs, value }: Columns): void {
    const { originMs, widthMs } = this.#edges;
    let endMs = Number.NEGATIVE_INFINITY;
    let tally = new Tally();
    for (let i = 0; i < atMs.length; i += 1) {
      const at = atMs[i] ?? 0;
      if (at >= endMs) {
        const bucket = Math.floor((at - originMs) / widthMs);
        tally = this.#tally(bucket);
        endMs = originMs + (bucket + 1) * widthMs;
      }
      tally.add(value[i] ?? 0);
    }
  }

  finish(): readonly Bucket[] {
    const { originMs, widthMs } = this.#edges;
    return [...this.#tallies].sort(([a], [b]) => a - b).map(([bucket, { n, min, max, mean }]) => ({ fromMs: originMs + bucket * widthMs, n, min, max, mean }));
  }

  #tally(bucket: number): Tally {
    let tally = this.#tallies.get(bucket);
    if (tally === undefined) this.#tallies.set(bucket, (tally = new Tally()));
    return tally;
  }
}

