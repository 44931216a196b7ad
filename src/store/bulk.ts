/** History that arrives in bulk: stored, never judged. */
import type { Connection } from './connection.ts';
import type { HistoryWriter } from './contract.ts';
import type { JournalEntry } from '../domain/journal.ts';
import { journalAppenderOn } from './journal-row.ts';
import type { ReadingWriter } from './reading.ts';

export function historyWriterOn({ db, attempt }: Connection, readings: ReadingWriter): HistoryWriter {
  const addHistory = db.transaction(readings.insert);
  const append = journalAppenderOn(db);
  const appendJournal = db.transaction((entries: readonly JournalEntry[]) => {
    for (const entry of entries) append(entry);
  });
  return {
    addHistory: (history) => attempt(() => addHistory.immediate(history)),
    appendJournal: (entries) => attempt(() => appendJournal.immediate(entries)),
  };
}
