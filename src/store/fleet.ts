/** The fleet document as last applied. */
import type { JournalEntry } from '../domain/journal.ts';
import type { Connection } from './connection.ts';
import type { FleetStore } from './contract.ts';
import { journalAppenderOn } from './journal-row.ts';

export function fleetOn({ db, attempt }: Connection): FleetStore {
  const select = db.prepare<[], { text: string }>('SELECT text FROM fleet');
  const put = db.prepare<[string]>('INSERT INTO fleet (only, text) VALUES (1, ?) ON CONFLICT (only) DO UPDATE SET text = excluded.text');
  const append = journalAppenderOn(db);
  const replace = db.transaction((text: string, journal: readonly JournalEntry[]) => {
    put.run(text);
    for (const entry of journal) append(entry);
  });
  return {
    fleetText: () => attempt(() => select.get()?.text ?? null),
    putFleet: (text, journal) => attempt(() => replace.immediate(text, journal)),
  };
}
