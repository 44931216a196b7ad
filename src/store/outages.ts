/** Outages that have not been told yet. */
import type { Database } from 'better-sqlite3';
import type { Outage } from '../domain/outage.ts';
import type { OutageChange } from './contract.ts';

/** Must run inside a transaction. */
export function outageWriterOn(db: Database): (changes: readonly OutageChange[]) => void {
  const put = db.prepare<[string, string]>('INSERT INTO outage (id, outage) VALUES (?, ?) ON CONFLICT (id) DO UPDATE SET outage = excluded.outage');
  const drop = db.prepare<[string]>('DELETE FROM outage WHERE id = ?');
  return (changes) => {
    for (const { id, outage } of changes) {
      if (outage === null) drop.run(id);
      else put.run(id, JSON.stringify(outage));
    }
  };
}

export function outageListOn(db: Database): () => readonly Outage[] {
  const select = db.prepare<[], { outage: string }>('SELECT outage FROM outage ORDER BY id');
  return () => select.all().map(({ outage }) => JSON.parse(outage) as Outage);
}
