/**
 * A logger's CSV of a million rows of settled history: the whole path of the import (parse, map, convert, check, deduplicate, seal) beside the
 * sqlite3 command line, which reads the same file with `.import` into a table of text and converts it with one INSERT … SELECT.
 */
import { spawnSync } from 'node:child_process';
import { createReadStream, createWriteStream, mkdtempSync, rmSync, statSync } from 'node:fs';
import { once } from 'node:events';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { systemClock } from '../../src/clock.ts';
import { Engine } from '../../src/engine/engine.ts';
import { noChoices } from '../../adapters/csv-choices.ts';
import { importDesk } from '../../src/engine/import-desk.ts';
import { makeLogger } from '../../src/log.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { fleet, point } from '../rules/fleet.ts';
import type { Bench } from './main.ts';
import { type SeriesKind, seriesKinds, yearOf } from './year.ts';

const rows = 1_000_000;
const rounds = 3;

const pointOf: Readonly<Record<SeriesKind, ReturnType<typeof point>>> = {
  temperature: point('temperature', 'temperature'), level: point('level', 'level'), conductivity: point('conductivity', 'conductivity'),
  'heater power': point('power', 'heater-power'), 'pump power': point('power', 'pump-power'), acidity: point('acidity', 'acidity'),
};
const installed = fleet({ points: Object.values(pointOf) });

export const csv: Bench = {
  name: 'csv',
  settings: { rows, series: seriesKinds.length, rounds, columns: 'time (RFC 3339), series, value; in order of time' },
  async run() {
    if (spawnSync('sqlite3', ['--version']).status !== 0) {
      console.log('  the sqlite3 command is not installed: csvVsSqliteImport is left out');
      return [];
    }
    const folder = mkdtempSync(join(tmpdir(), 'tankbell-bench-csv-'));
    try {
      const file = join(folder, 'history.csv');
      await writeCsv(file);
      const ours: number[] = [];
      const theirs: number[] = [];
      for (let round = 0; round < rounds; round += 1) {
        ours.push(await tankbellSeconds(file, join(folder, `tankbell-${round}.sqlite`)));
        theirs.push(sqliteSeconds(file, join(folder, `sqlite-${round}.sqlite`)));
      }
      const ratios = theirs.map((seconds, i) => seconds / (ours[i] ?? Number.NaN));
      const rate = (seconds: readonly number[]): number => Math.round(rows / median(seconds));
      return [{ key: 'csvVsSqliteImport', value: median(ratios), says: `times its rows/s; rounds ${ratios.map((ratio) => ratio.toFixed(2)).join(' ')}; sqlite3 ${rate(theirs)}/s, here ${rate(ours)}/s on this machine` }];
    } finally {
      rmSync(folder, { recursive: true, force: true });
    }
  },
};

const median = (values: readonly number[]): number => [...values].sort((a, b) => a - b)[values.length >> 1] ?? Number.NaN;

async function writeCsv(file: string): Promise<void> {
  const out = createWriteStream(file);
  const series = seriesKinds.map((kind) => ({ name: pointOf[kind].id, days: yearOf(kind, 365) }));
  out.write('time,series,value\n');
  let written = 0;
  while (written < rows) {
    const today = series.map(({ name, days }) => ({ name, day: days.next().value }));
    const count = today[0]?.day?.atMs.length ?? 0;
    let lines = '';
    for (let i = 0; i < count && written < rows; i += 1) {
      for (const { name, day } of today) {
        if (day === undefined || written >= rows) continue;
        lines += `${new Date(day.atMs[i] ?? 0).toISOString()},${name},${day.value[i] ?? 0}\n`;
        written += 1;
      }
    }
    if (!out.write(lines)) await once(out, 'drain');
  }
  out.end();
  await once(out, 'finish');
}

async function tankbellSeconds(file: string, database: string): Promise<number> {
  const store = await openSqliteStore(database);
  const log = makeLogger('warn', systemClock.now);
  const engine = await Engine.start({
    store, fleet: installed, rules: [], clock: systemClock, log, onPages: () => undefined,
    onFatal: (error) => {
      throw error;
    },
  });
  try {
    const start = process.hrtime.bigint();
    const desk = importDesk({ store, engine, fleet: () => installed, clock: systemClock, log });
    const job = desk.start(
      { id: 'bench', file: { name: 'history.csv', bytes: statSync(file).size, open: () => createReadStream(file) }, tankId: null, choices: noChoices, useMemory: false, propose: false, lookBytes: null, by: 'bench' },
      async () => undefined,
    );
    await job?.ended;
    const report = job?.progress().report;
    if (report == null) throw new Error(`the import ended without a report: ${JSON.stringify(job?.progress())}`);
    const seconds = Number(process.hrtime.bigint() - start) / 1e9;
    if (report.stored !== rows || report.refusedTotal !== 0) throw new Error(`stored ${report.stored} of ${rows}, refused ${report.refusedTotal}: ${report.refused[0]?.reason ?? ''}`);
    return seconds;
  } finally {
    await engine.stop();
    await store.close();
  }
}

/** Times to whole milliseconds, values as numbers, into the same kind of table that the store keeps rows in. */
function sqliteSeconds(file: string, database: string): number {
  const start = process.hrtime.bigint();
  const run = spawnSync('sqlite3', [database], {
    input: `PRAGMA journal_mode = WAL;
CREATE TABLE series (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE);
CREATE TABLE reading (series INTEGER NOT NULL, at INTEGER NOT NULL, value REAL NOT NULL, PRIMARY KEY (series, at)) STRICT, WITHOUT ROWID;
.mode csv
.import ${file} staging
INSERT INTO series (name) SELECT DISTINCT series FROM staging;
INSERT INTO reading SELECT series.id, unixepoch(time) * 1000 + CAST(substr(time, 21, 3) AS INTEGER), CAST(value AS REAL) FROM staging JOIN series ON series.name = staging.series;
SELECT count(*) FROM reading;
`, encoding: 'utf8',
  });
  const seconds = Number(process.hrtime.bigint() - start) / 1e9;
  if (run.status !== 0 || !run.stdout.trimEnd().endsWith(String(rows))) throw new Error(`sqlite3 ended with ${run.status}: ${run.stdout}${run.stderr}`);
  return seconds;
}
