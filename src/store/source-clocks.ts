/** Clocks of sources under suspicion or found wrong. */
import type { Database } from 'better-sqlite3';
import type { ClockState } from '../domain/source-clock.ts';
import type { ClockChange } from './contract.ts';

/** Must run inside a transaction. */
export function clockWriterOn(db: Database): (changes: readonly ClockChange[]) => void {
  const put = db.prepare<[string, string]>('INSERT INTO source_clock (source, state) VALUES (?, ?) ON CONFLICT (source) DO UPDATE SET state = excluded.state');
  const drop = db.prepare<[string]>('DELETE FROM source_clock WHERE source = ?');
  return (changes) => {
    for (const { source, state } of changes) {
      if (state === null) drop.run(source);
      else put.run(source, JSON.stringify(state));
    }
  };
}

export function clockListOn(db: Database): () => ReadonlyMap<string, ClockState> {
  const select = db.prepare<[], { source: string; state: string }>('SELECT source, state FROM source_clock ORDER BY source');
  return () => new Map(select.all().map(({ source, state }) => [source, JSON.parse(state) as ClockState]));
}
