/** Writes what one step of the engine decided: all of it or nothing. */
import type { Database } from 'better-sqlite3';
import { alarmUpsertOn } from './alarm-row.ts';
import type { Connection } from './connection.ts';
import type { Batch, LiveStore, StoredRuleState } from './contract.ts';
import { journalAppenderOn } from './journal-row.ts';
import { pageInsertOn } from './page-row.ts';
import type { SealedTimes } from './known.ts';
import { outageWriterOn } from './outages.ts';
import { pointStateUpsertOn } from './point-state.ts';
import { packReadings, type ReadingWriter } from './reading.ts';
import { refusalFolderOn } from './refusal.ts';
import { type Reserve, withReserve } from './reserve.ts';
import { clockWriterOn } from './source-clocks.ts';
import { statusUpsertOn } from './status-row.ts';
import { unclaimedKeeperOn } from './unclaimed.ts';

/** A batch whose readings are packed (`packReadings`). */
export interface PackedBatch extends Batch {
  readonly readings: readonly never[];
  readonly packed: Float64Array;
}

export interface Committer extends Pick<LiveStore, 'commit' | 'space'> {
  commitPacked(batch: PackedBatch): Promise<void>;
}

export function committerOn({ db, attempt }: Connection, readings: ReadingWriter, sealed: SealedTimes, reserve: Reserve): Committer {
  const putRuleState = ruleStateUpsertOn(db);
  const putAlarm = alarmUpsertOn(db);
  const putPointState = pointStateUpsertOn(db);
  const putStatus = statusUpsertOn(db);
  const appendJournal = journalAppenderOn(db);
  const addPage = pageInsertOn(db);
  const foldRefusals = refusalFolderOn(db);
  const keepUnclaimed = unclaimedKeeperOn(db);
  const writeClocks = clockWriterOn(db);
  const writeOutages = outageWriterOn(db);
  const putAlive = db.prepare<[number]>('INSERT INTO alive (only, at_ms) VALUES (1, ?) ON CONFLICT (only) DO UPDATE SET at_ms = excluded.at_ms');

  const write = db.transaction((batch: Batch, packed: Float64Array) => {
    readings.insertPacked(packed);
    for (const state of batch.ruleStates) putRuleState(state);
    for (const alarm of batch.alarms) putAlarm(alarm);
    for (const status of batch.statuses) putStatus(status);
    for (const entry of batch.journal) appendJournal(entry);
    for (const page of batch.pages) addPage(page);
    for (const state of batch.pointStates ?? []) putPointState(state);
    foldRefusals(batch.refusals);
    if (batch.unclaimed !== undefined) keepUnclaimed(batch.unclaimed);
    if (batch.clocks !== undefined) writeClocks(batch.clocks);
    if (batch.outages !== undefined) writeOutages(batch.outages);
    putAlive.run(batch.aliveMs);
  });

  const commit = (batch: Batch, packed: Float64Array): Promise<void> =>
    attempt(() => {
      reserve.look(batch.aliveMs);
      try {
        withReserve(db, reserve, () => write.immediate(batch, packed));
      } catch (error) {
        sealed.forget();
        throw error;
      }
    });
  return {
    commit: (batch) => commit(batch, packReadings(batch.readings)),
    commitPacked: (batch) => commit(batch, batch.packed),
    space: () => ({ takesReadings: reserve.takesReadings, trouble: reserve.trouble }),
  };
}

function ruleStateUpsertOn(db: Database): (state: StoredRuleState) => void {
  const upsert = db.prepare<[string, string, number | null]>(
    `INSERT INTO rule_state (rule_id, state, wake_at_ms) VALUES (?, ?, ?)
     ON CONFLICT (rule_id) DO UPDATE SET state = excluded.state, wake_at_ms = excluded.wake_at_ms`,
  );
  return ({ ruleId, state, wakeAtMs }) => {
    upsert.run(ruleId, JSON.stringify(state ?? null), wakeAtMs);
  };
}
