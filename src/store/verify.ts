/** Is a store whole? Every page of the file, every sealed day and every hour counted from it is looked at; nothing is changed. */
import type { Database } from 'better-sqlite3';
import { showDay } from './codec.ts';
import { openReader } from './connection.ts';
import { StoreError } from './contract.ts';
import { CHUNK_ROWS, type ChunkRow, faultsOfDay } from './day-faults.ts';
import { storeErrorOf } from './errors.ts';
import { appliedSteps, migrations } from './migrations.ts';

export interface StoreCounts {
  readonly series: number;
  /** Readings as rows. */
  readonly rows: number;
  readonly sealedDays: number;
  /** Readings in sealed days. */
  readonly sealedReadings: number;
  readonly alarms: number;
  readonly journal: number;
  readonly pages: number;
}

export interface StoreCheck {
  readonly counts: StoreCounts;
  /** What is wrong, each in a sentence; empty when the store is whole. At most `faultsTold`. */
  readonly faults: readonly string[];
}

export const faultsTold = 100;

/**
 * Works beside a running service. Sealed days are read one by one, so a large store takes a while and little memory.
 * @throws StoreError for a file that cannot be opened or is not Tankbell's.
 */
export function checkStore(file: string): StoreCheck {
  let db: Database | null = null;
  try {
    db = openReader(file);
    return checked(db);
  } catch (error) {
    throw storeErrorOf(error, file);
  } finally {
    db?.close();
  }
}

function checked(db: Database): StoreCheck {
  const faults: string[] = [];
  const fault = (text: string): void => {
    if (faults.length < faultsTold) faults.push(text);
  };
  const steps = appliedSteps(db);
  if (steps < migrations.length) {
    throw new StoreError(`${db.name} was written by an older Tankbell (its shape is number ${steps} of ${migrations.length}): start this Tankbell on it once, which brings it up to date`, { permanent: true });
  }
  for (const said of db.prepare<[], string>('PRAGMA integrity_check').pluck().all()) if (said !== 'ok') fault(`the file: ${said}`);
  for (const row of db.prepare<[], { table: string; parent: string }>('PRAGMA foreign_key_check').all()) fault(`a row of ${row.table} names a row of ${row.parent} that is not there`);
  // One transaction: what is looked at is of one moment, whatever the service does meanwhile.
  return db.transaction((): StoreCheck => {
    checkDays(db, fault);
    return { counts: countsOf(db), faults };
  })();
}

function checkDays(db: Database, fault: (text: string) => void): void {
  for (const row of db.prepare<[], ChunkRow>(CHUNK_ROWS).iterate()) for (const wrong of faultsOfDay(row)) fault(wrong);
  const orphans = db.prepare<[], { series: number; day: number }>('SELECT series, day FROM rollup WHERE NOT EXISTS (SELECT 1 FROM chunk WHERE chunk.series = rollup.series AND chunk.day = rollup.day)');
  for (const { series, day } of orphans.iterate()) fault(`${showDay(day)} of series ${series}: hours are counted of a day that is not there`);
  const nobody = db.prepare<[], number>(
    'SELECT series FROM (SELECT DISTINCT series FROM chunk UNION SELECT DISTINCT series FROM reading) WHERE series NOT IN (SELECT id FROM series)').pluck();
  for (const series of nobody.iterate()) fault(`readings of series ${series}, which belongs to no point`);
}

function countsOf(db: Database): StoreCounts {
  const count = (sql: string): number => db.prepare<[], number>(`SELECT ${sql}`).pluck().get() ?? 0;
  return {
    series: count('count(*) FROM series'), rows: count('count(*) FROM reading'), sealedDays: count('count(*) FROM chunk'), sealedReadings: count('coalesce(sum(n), 0) FROM chunk'),
    alarms: count('count(*) FROM alarm'), journal: count('count(*) FROM journal'), pages: count('count(*) FROM page'),
  };
}

/** `3 series, 120 readings, …` */
export function showCounts({ series, rows, sealedDays, sealedReadings, alarms, journal, pages }: StoreCounts): string {
  return `${series} series, ${rows + sealedReadings} readings (${sealedReadings} of them in ${sealedDays} sealed days), ${alarms} alarms, ${journal} journal entries, ${pages} pages`;
}
