/** What was said about CSV files, kept by their header and the tank they belong to. */
import type { Connection } from './connection.ts';
import type { ImportMemoryStore } from './contract.ts';

/** Headers kept: far more than there are kinds of loggers, far less than would be noticed on a disk. */
const KEPT = 1000;

interface MemoryRow {
  readonly choices: string;
  readonly saved_ms: number;
  readonly who: string;
}

export function importMemoryOn({ db, attempt }: Connection): ImportMemoryStore {
  const find = db.prepare<[string, string], MemoryRow>('SELECT choices, saved_ms, who FROM import_memory WHERE header_key = ? AND tank_id = ?');
  const put = db.prepare<[string, string, string, number, string]>(
    `INSERT INTO import_memory (header_key, tank_id, choices, saved_ms, who) VALUES (?, ?, ?, ?, ?)
     ON CONFLICT (header_key, tank_id) DO UPDATE SET choices = excluded.choices, saved_ms = excluded.saved_ms, who = excluded.who`,
  );
  const forgetOldest = db.prepare<[]>(
    `DELETE FROM import_memory WHERE (header_key, tank_id) IN (SELECT header_key, tank_id FROM import_memory ORDER BY saved_ms DESC, header_key LIMIT -1 OFFSET ${KEPT})`,
  );
  const remember = db.transaction((headerKey: string, tankId: string, choices: string, savedMs: number, by: string) => {
    put.run(headerKey, tankId, choices, savedMs, by);
    forgetOldest.run();
  });
  return {
    importMemory: (headerKey, tankId) =>
      attempt(() => {
        const row = find.get(headerKey, tankId ?? '');
        return row === undefined ? null : { headerKey, tankId, choices: JSON.parse(row.choices) as unknown, savedMs: row.saved_ms, by: row.who };
      }),
    rememberImport: ({ headerKey, tankId, choices, savedMs, by }) => attempt(() => remember.immediate(headerKey, tankId ?? '', JSON.stringify(choices), savedMs, by)),
  };
}
