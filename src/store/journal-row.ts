/** A journal entry and its row. Rows are only ever added; triggers in the database hold that. */
import type { Database } from 'better-sqlite3';
import type { JournalEntry, JournalKind, StoredJournalEntry } from '../domain/journal.ts';

export interface JournalRow {
  readonly id: number;
  readonly at_ms: number;
  readonly kind: JournalKind;
  readonly site_id: string | null;
  readonly tank_id: string | null;
  readonly alarm_id: number | null;
  readonly who: string;
  readonly text: string;
  /** JSON. */
  readonly detail: string;
}

export function journalAppenderOn(db: Database): (entry: JournalEntry) => void {
  const insert = db.prepare<[Omit<JournalRow, 'id'>]>(
    `INSERT INTO journal (at_ms, kind, site_id, tank_id, alarm_id, who, text, detail)
     VALUES (@at_ms, @kind, @site_id, @tank_id, @alarm_id, @who, @text, @detail)`,
  );
  return (entry) => {
    insert.run({
      at_ms: entry.atMs,
      kind: entry.kind,
      site_id: entry.siteId,
      tank_id: entry.tankId,
      alarm_id: entry.alarmId,
      who: entry.by,
      text: entry.text,
      detail: JSON.stringify(entry.detail),
    });
  };
}

export function journalEntryOf(row: JournalRow): StoredJournalEntry {
  const detail: StoredJournalEntry['detail'] = JSON.parse(row.detail);
  return {
    id: row.id,
    atMs: row.at_ms,
    kind: row.kind,
    siteId: row.site_id,
    tankId: row.tank_id,
    alarmId: row.alarm_id,
    by: row.who,
    text: row.text,
    detail,
  };
}
