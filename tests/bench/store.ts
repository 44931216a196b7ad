/**
 * The store beside a plain table of SQLite and beside DuckDB's own sorted table, over the same readings: bytes each of them needs, the time to draw
 * a year, and the time to read a day. DuckDB is a development dependency and optional: without it its two figures are left out.
 */
import { mkdtempSync, rmSync, statSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import SQLite from 'better-sqlite3';
import { DAY } from '../../src/domain/duration.ts';
import type { Reading } from '../../src/domain/reading.ts';
import { bucketEdges } from '../../src/store/bucket-edges.ts';
import type { Store } from '../../src/store/contract.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { addReadings } from '../store/examples.ts';
import type { Bench, Figure } from './main.ts';
import { CADENCE_MS, JITTER_MS, READINGS_A_DAY, YEAR_START_MS, type SeriesKind, seriesKinds, yearOf } from './year.ts';

const days = Number(process.env['TANKBELL_BENCH_DAYS'] ?? 365);
const rounds = 21;
const count = 2000;
const readings = days * READINGS_A_DAY * seriesKinds.length;
const [fromMs, toMs] = [YEAR_START_MS, YEAR_START_MS + days * DAY];
/** Series that is drawn: neither the smoothest nor the noisiest. */
const drawn = seriesKinds.indexOf('conductivity') + 1;
const edges = bucketEdges(fromMs, toMs, count) ?? { originMs: fromMs, widthMs: DAY };

interface Contender {
  readonly bytes: number;
  /** The year of one series in buckets; @returns how many readings they hold. */
  chart(): Promise<number>;
  /** One day of it as `Reading` objects; @returns how many. */
  day(startMs: number): Promise<number>;
  close(): Promise<void>;
}

export const store: Bench = {
  name: 'store',
  settings: { readings, series: seriesKinds.length, days, cadenceMs: CADENCE_MS, jitterMs: JITTER_MS, buckets: count, bucketHours: edges.widthMs / 3_600_000, rounds },
  async run() {
    const folder = mkdtempSync(join(tmpdir(), 'tankbell-bench-store-'));
    const open: Contender[] = [];
    try {
      const ours = await sealed(join(folder, 'tankbell.sqlite'));
      open.push(ours);
      const table = plainTable(join(folder, 'table.sqlite'));
      open.push(table);
      const duck = await duckDb(join(folder, 'duck.db'));
      if (duck === null) console.log('  @duckdb/node-api is not installed: sealedVsDuckdb and yearChartVsDuckdb are left out');
      else open.push(duck);
      return await figures(ours, table, duck);
    } finally {
      for (const contender of open) await contender.close();
      rmSync(folder, { recursive: true, force: true });
    }
  },
};

async function figures(ours: Contender, table: Contender, duck: Contender | null): Promise<Figure[]> {
  const perReading = (contender: Contender): number => contender.bytes / readings;
  const contenders = [ours, table, ...(duck === null ? [] : [duck])];
  const charts = await takeTurns(contenders, (contender) => contender.chart(), days * READINGS_A_DAY);
  const [chart = Number.NaN, chartSql = Number.NaN, chartDuck = Number.NaN] = charts;
  const [day = Number.NaN, scan = Number.NaN] = await takeTurns([ours, table], (contender, round) => contender.day(fromMs + ((7 * round) % (days - 1)) * DAY), null);
  const ms = (value: number): string => `${value.toPrecision(3)} ms`;
  return [
    { key: 'sealedBytesPerReading', value: perReading(ours), says: 'bytes of the whole file with hours and indexes, per reading' },
    { key: 'sealedVsTable', value: ours.bytes / table.bytes, says: `of a WITHOUT ROWID table of (series, at, value): ${perReading(table).toFixed(1)} bytes a reading` },
    ...(duck === null ? [] : [{ key: 'sealedVsDuckdb', value: ours.bytes / duck.bytes, says: `of DuckDB's table in the same order: ${perReading(duck).toFixed(2)} bytes a reading` }]),
    { key: 'yearChartVsSql', value: chart / chartSql, says: `of SQL GROUP BY over the plain table: ${ms(chart)}, ${ms(chartSql)}` },
    ...(duck === null ? [] : [{ key: 'yearChartVsDuckdb', value: chart / chartDuck, says: `of DuckDB GROUP BY: ${ms(chart)}, ${ms(chartDuck)}` }]),
    { key: 'dayRawVsScan', value: day / scan, says: `of the same ${READINGS_A_DAY} readings from the plain table: ${ms(day)}, ${ms(scan)}` },
  ];
}

/** Median milliseconds of each, taken in turns. */
async function takeTurns(contenders: readonly Contender[], work: (contender: Contender, round: number) => Promise<number>, expected: number | null): Promise<readonly number[]> {
  const times: number[][] = contenders.map(() => []);
  for (let round = 0; round < rounds; round += 1) {
    const counts: number[] = [];
    for (const [at, contender] of contenders.entries()) {
      const start = process.hrtime.bigint();
      counts.push(await work(contender, round));
      times[at]?.push(Number(process.hrtime.bigint() - start) / 1e6);
    }
    if (new Set(counts).size !== 1 || (expected !== null && counts[0] !== expected)) throw new Error(`the contenders disagree: ${counts.join(', ')} readings`);
  }
  return times.map((each) => each.sort((a, b) => a - b)[rounds >> 1] ?? Number.NaN);
}

function eachDay(take: (series: number, kind: SeriesKind, atMs: Float64Array, value: Float64Array) => void): void {
  for (const [at, kind] of seriesKinds.entries()) for (const { atMs, value } of yearOf(kind, days)) take(at + 1, kind, atMs, value);
}

async function sealed(file: string): Promise<Contender> {
  const store: Store = await openSqliteStore(file);
  const series = [...(await store.seriesFor(seriesKinds)).values()];
  await store.commit({ readings: [], ruleStates: [], statuses: [], alarms: [], journal: [], pages: [], refusals: [], aliveMs: toMs + 7 * DAY });
  for (const [at, kind] of seriesKinds.entries()) {
    for (const { atMs, value } of yearOf(kind, days)) {
      await addReadings(store, Array.from(atMs, (time, i): Reading => ({ series: series[at] ?? 0, atMs: time, value: value[i] ?? 0, quality: 0 })));
    }
  }
  await store.checkpoint();
  const id = series[drawn - 1] ?? 0;
  return {
    bytes: statSync(file).size,
    chart: async () => (await store.buckets(id, fromMs, toMs, count)).reduce((sum, { n }) => sum + n, 0),
    day: async (startMs) => (await store.readings(id, startMs, startMs + DAY)).length,
    close: () => store.close(),
  };
}

function plainTable(file: string): Contender {
  const db = new SQLite(file);
  db.pragma('journal_mode = WAL');
  db.exec('CREATE TABLE reading (series INTEGER NOT NULL, at INTEGER NOT NULL, value REAL NOT NULL, PRIMARY KEY (series, at)) STRICT, WITHOUT ROWID');
  const insert = db.prepare<[number, number, number]>('INSERT INTO reading VALUES (?, ?, ?)');
  const insertDay = db.transaction((series: number, atMs: Float64Array, value: Float64Array) => atMs.forEach((time, i) => insert.run(series, time, value[i] ?? 0)));
  eachDay((series, _, atMs, value) => insertDay(series, atMs, value));
  db.pragma('wal_checkpoint(TRUNCATE)');
  const chart = db.prepare<[bigint, bigint, number, number, number], { n: number }>(
    'SELECT (at - ?) / ? AS bucket, count(*) AS n, min(value) AS min, max(value) AS max, avg(value) AS mean FROM reading WHERE series = ? AND at >= ? AND at < ? GROUP BY 1 ORDER BY 1',
  );
  const day = db.prepare<[number, number, number], Reading>('SELECT series, at AS atMs, value, 0 AS quality FROM reading WHERE series = ? AND at >= ? AND at < ? ORDER BY at');
  return {
    bytes: statSync(file).size,
    chart: async () => chart.all(BigInt(edges.originMs), BigInt(edges.widthMs), drawn, fromMs, toMs).reduce((sum, { n }) => sum + n, 0),
    day: async (startMs) => day.all(drawn, startMs, startMs + DAY).length,
    close: async () => {
      db.close();
    },
  };
}

/** @returns `null` when DuckDB is not installed. */
async function duckDb(file: string): Promise<Contender | null> {
  const duck = await import('@duckdb/node-api').catch((error: unknown) => {
    if (error instanceof Error && 'code' in error && error.code === 'ERR_MODULE_NOT_FOUND') return null;
    throw error;
  });
  if (duck === null) return null;
  const instance = await duck.DuckDBInstance.create(file);
  const connection = await instance.connect();
  await connection.run('CREATE TABLE reading (series INTEGER NOT NULL, at_ms BIGINT NOT NULL, value DOUBLE NOT NULL)');
  const appender = await connection.createAppender('reading');
  eachDay((series, _, atMs, value) => {
    for (let i = 0; i < atMs.length; i += 1) {
      appender.appendInteger(series);
      appender.appendBigInt(BigInt(atMs[i] ?? 0));
      appender.appendDouble(value[i] ?? 0);
      appender.endRow();
    }
  });
  appender.closeSync();
  await connection.run('CHECKPOINT');
  const chart = await connection.prepare(
    `SELECT (at_ms - ${edges.originMs}) // ${edges.widthMs} AS bucket, count(*) AS n, min(value), max(value), avg(value) FROM reading WHERE series = ${drawn} AND at_ms >= ${fromMs} AND at_ms < ${toMs} GROUP BY 1 ORDER BY 1`,
  );
  return {
    bytes: statSync(file).size,
    chart: async () => (await (await chart.runAndReadAll()).getRows()).reduce((sum, row) => sum + Number(row[1]), 0),
    day: () => Promise.reject(new Error('is not asked for')),
    close: async () => {
      connection.closeSync();
      instance.closeSync();
    },
  };
}
