/** What the engine needs to go on after a restart. */
import type { Database } from 'better-sqlite3';
import { type Reading, type SeriesId } from '../domain/reading.ts';
import { type AlarmRow, alarmOf } from './alarm-row.ts';
import { calibrationListOn } from './calibrations.ts';
import type { Connection } from './connection.ts';
import type { LiveState, LiveStore, StoredRuleState } from './contract.ts';
import { lastStampOn, latestUsableOn } from './latest.ts';
import { outageListOn } from './outages.ts';
import { pointStateListOn } from './point-state.ts';
import { clockListOn } from './source-clocks.ts';
import { statusListOn } from './status-row.ts';

export function liveLoaderOn({ db, attempt }: Connection): Pick<LiveStore, 'seriesFor' | 'load'> {
  const find = db.prepare<[string], { id: SeriesId }>('SELECT id FROM series WHERE point_id = ?');
  const make = db.prepare<[string]>('INSERT INTO series (point_id) VALUES (?)');
  const seriesFor = db.transaction((pointIds: readonly string[]): ReadonlyMap<string, SeriesId> => {
    return new Map(pointIds.map((pointId) => [pointId, find.get(pointId)?.id ?? Number(make.run(pointId).lastInsertRowid)]));
  });
  const load = loaderOn(db);
  return {
    seriesFor: (pointIds) => attempt(() => seriesFor.immediate(pointIds)),
    load: () => attempt(() => load()),
  };
}

function loaderOn(db: Database): () => LiveState {
  const ruleStates = db.prepare<[], { rule_id: string; state: string; wake_at_ms: number | null }>('SELECT * FROM rule_state ORDER BY rule_id');
  const openAlarms = db.prepare<[], AlarmRow>('SELECT * FROM alarm WHERE closed_ms IS NULL ORDER BY id');
  const statuses = statusListOn(db);
  const pointStates = pointStateListOn(db);
  const series = db.prepare<[], { id: SeriesId }>('SELECT id FROM series');
  const lastStamp = lastStampOn(db);
  const nextAlarm = db.prepare<[], { id: number }>('SELECT coalesce(max(id), 0) + 1 AS id FROM alarm');
  const alive = db.prepare<[], { at_ms: number }>('SELECT at_ms FROM alive');
  const latestUsable = latestUsableOn(db);
  const outages = outageListOn(db);
  const clocks = clockListOn(db);
  const calibrations = calibrationListOn(db);

  // One transaction, so that everything is of the same moment.
  return db.transaction((): LiveState => {
    const latest = new Map<SeriesId, readonly Reading[]>();
    const lastStampMs = new Map<SeriesId, number>();
    for (const { id } of series.all()) {
      const stampMs = lastStamp(id);
      if (stampMs === null) continue;
      lastStampMs.set(id, stampMs);
      latest.set(id, latestUsable(id, 2));
    }
    return {
      ruleStates: ruleStates.all().map((row): StoredRuleState => ({ ruleId: row.rule_id, state: JSON.parse(row.state), wakeAtMs: row.wake_at_ms })),
      statuses: statuses(),
      pointStates: pointStates(),
      openAlarms: openAlarms.all().map(alarmOf),
      latest,
      lastStampMs,
      calibrations: calibrations(),
      outages: outages(),
      clocks: clocks(),
      nextAlarmId: nextAlarm.get()?.id ?? 1,
      aliveMs: alive.get()?.at_ms ?? null,
    };
  });
}
