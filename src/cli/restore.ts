/** `tankbell restore`: a backup in place of the store, while no service runs. */
import { join } from 'node:path';
import type { ServiceConfig } from '../config/service.ts';
import { DATABASE, restore as putBack } from '../store/backup.ts';
import { lockDataDir } from '../store/lock.ts';
import { openSqliteStore } from '../store/sqlite.ts';
import { showCounts } from '../store/verify.ts';
import type { Terminal } from './terminal.ts';

export async function restore(file: string, replace: boolean, config: ServiceConfig, terminal: Terminal): Promise<number> {
  const lock = lockDataDir(config.dataDir);
  try {
    const nowMs = terminal.clock.now();
    const { counts, before } = await putBack(file, config.dataDir, { replace, nowMs });
    const store = await openSqliteStore(join(config.dataDir, DATABASE));
    try {
      await store.appendJournal([{
        atMs: nowMs, kind: 'service', siteId: null, tankId: null, alarmId: null, by: 'command line', text: `Restored from the backup ${file}: what happened after it was made is not in this journal`, detail: { file, ...counts },
      }]);
    } finally {
      await store.close();
    }
    terminal.print(`Restored from ${file}: ${showCounts(counts)}`);
    if (before !== null) terminal.print(`The store before it is kept as ${before}; delete it when it is not needed any more.`);
    return 0;
  } finally {
    lock.release();
  }
}
