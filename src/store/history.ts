/** Reading what was kept: series, alarms, journal, outbox, refusals. */
import type { Database } from 'better-sqlite3';
import type { Alarm } from '../domain/alarm.ts';
import type { StoredJournalEntry } from '../domain/journal.ts';
import type { SeriesId } from '../domain/reading.ts';
import { type AlarmRow, alarmOf } from './alarm-row.ts';
import { bucketsOn } from './buckets.ts';
import { conditions } from './conditions.ts';
import type { Connection } from './connection.ts';
import type { AlarmQuery, HistoryReader, JournalQuery } from './contract.ts';
import { type JournalRow, journalEntryOf } from './journal-row.ts';
import { latestUsableOn } from './latest.ts';
import { type PageRow, pageOf } from './page-row.ts';
import { refusalListOn } from './refusal.ts';
import { spanOn } from './span.ts';
import { statusListOn } from './status-row.ts';
import { textMatcherOn } from './text-match.ts';

export function historyReaderOn({ db, attempt }: Connection): HistoryReader {
  const series = db.prepare<[string], { id: SeriesId }>(
    `SELECT id FROM series WHERE point_id = ?
       AND (EXISTS (SELECT 1 FROM reading WHERE reading.series = series.id) OR EXISTS (SELECT 1 FROM chunk WHERE chunk.series = series.id))`,
  );
  const span = spanOn(db);
  const alarm = db.prepare<[number], AlarmRow>('SELECT * FROM alarm WHERE id = ?');
  const buckets = bucketsOn(db);
  const latest = latestUsableOn(db);
  const statuses = statusListOn(db);
  const refusals = refusalListOn(db);
  const journal = journalOn(db);
  return {
    seriesOf: (pointId) => attempt(() => series.get(pointId)?.id ?? null),
    readings: (id, fromMs, toMs) => attempt(() => span(id, fromMs, toMs)),
    buckets: (id, fromMs, toMs, count) => attempt(() => buckets(id, fromMs, toMs, count)),
    latest: (id) => attempt(() => latest(id, 1)[0] ?? null),
    alarm: (id) =>
      attempt(() => {
        const row = alarm.get(id);
        return row === undefined ? null : alarmOf(row);
      }),
    alarms: (query) => attempt(() => alarms(db, query)),
    statuses: () => attempt(statuses),
    journal: (query) => attempt(() => journal(query)),
    pages: (query) => attempt(() => pages(db, query)),
    refusals: (limit) => attempt(() => refusals(limit)),
  };
}

function alarms(db: Database, query: AlarmQuery): readonly Alarm[] {
  const { where, values } = conditions(
    query.tankId !== undefined && ['tank_id = ?', query.tankId],
    query.siteId !== undefined && ['site_id = ?', query.siteId],
    query.open !== undefined && [query.open ? 'closed_ms IS NULL' : 'closed_ms IS NOT NULL'],
    query.fromMs !== undefined && ['(closed_ms IS NULL OR closed_ms >= ?)', query.fromMs],
    query.toMs !== undefined && ['opened_ms < ?', query.toMs],
  );
  const select = db.prepare<unknown[], AlarmRow>(`SELECT * FROM alarm ${where} ORDER BY opened_ms DESC, id DESC LIMIT ?`);
  return select.all(...values, query.limit).map(alarmOf);
}

function journalOn(db: Database): (query: JournalQuery) => readonly StoredJournalEntry[] {
  const matching = textMatcherOn(db);
  return (query) => {
    const { where, values } = conditions(
      query.tankId !== undefined && ['tank_id = ?', query.tankId],
      query.siteId !== undefined && ['site_id = ?', query.siteId],
      query.alarmId !== undefined && ['alarm_id = ?', query.alarmId],
      query.kinds !== undefined && [`kind IN (${query.kinds.map(() => '?').join(', ')})`, ...query.kinds],
      query.contains !== undefined && query.contains !== '' && matching('text', query.contains),
      query.fromMs !== undefined && ['at_ms >= ?', query.fromMs],
      query.toMs !== undefined && ['at_ms < ?', query.toMs],
      query.beforeId !== undefined && ['id < ?', query.beforeId],
    );
    const select = db.prepare<unknown[], JournalRow>(`SELECT * FROM journal ${where} ORDER BY id DESC LIMIT ?`);
    return select.all(...values, query.limit).map(journalEntryOf);
  };
}

function pages(db: Database, query: Parameters<HistoryReader['pages']>[0]) {
  const { where, values } = conditions(query.alarmId !== undefined && ['alarm_id = ?', query.alarmId]);
  return db.prepare<unknown[], PageRow>(`SELECT * FROM page ${where} ORDER BY seq DESC LIMIT ?`).all(...values, query.limit).map(pageOf);
}
