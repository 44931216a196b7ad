import type { Database } from 'better-sqlite3';
import type { Calibration } from '../domain/calibration.ts';
import type { Connection } from './connection.ts';
import type { CalibrationStore } from './contract.ts';
import { journalAppenderOn } from './journal-row.ts';

export function calibrationListOn(db: Database): () => readonly Calibration[] {
  const select = db.prepare<[], Calibration>('SELECT point_id AS pointId, from_ms AS fromMs, slope, offset, who AS by, why, entered_ms AS enteredMs FROM calibration ORDER BY point_id, from_ms');
  return () => select.all();
}

export function calibrationsOn({ db, attempt }: Connection): CalibrationStore {
  const list = calibrationListOn(db);
  const put = db.prepare<[string, number, number, number, string, string, number]>(
    `INSERT INTO calibration (point_id, from_ms, slope, offset, who, why, entered_ms) VALUES (?, ?, ?, ?, ?, ?, ?)
     ON CONFLICT (point_id, from_ms) DO UPDATE SET slope = excluded.slope, offset = excluded.offset, who = excluded.who, why = excluded.why, entered_ms = excluded.entered_ms`,
  );
  const append = journalAppenderOn(db);
  const write = db.transaction((one: Calibration, journal: Parameters<typeof append>[0]) => {
    put.run(one.pointId, one.fromMs, one.slope, one.offset, one.by, one.why, one.enteredMs);
    append(journal);
  });
  return {
    calibrations: () => attempt(() => list()),
    putCalibration: (one, journal) => attempt(() => write.immediate(one, journal)),
  };
}
