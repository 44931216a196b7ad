/** `tankbell check-store`: is everything that was kept still whole? Works beside a running service and changes nothing. */
import { existsSync } from 'node:fs';
import { join } from 'node:path';
import { StartError } from '../app.ts';
import type { ServiceConfig } from '../config/service.ts';
import { DATABASE } from '../store/backup.ts';
import { checkStore as check, showCounts } from '../store/verify.ts';
import type { Terminal } from './terminal.ts';

/** @returns the exit code: 1 when something is wrong. */
export function checkStore(config: ServiceConfig, terminal: Terminal): number {
  const file = join(config.dataDir, DATABASE);
  if (!existsSync(file)) throw new StartError(`there is no store in ${config.dataDir} yet`);
  const { counts, faults } = check(file);
  terminal.print(`${file}: ${showCounts(counts)}`);
  for (const fault of faults) terminal.complain(fault);
  terminal.print(faults.length === 0 ? 'All of it is whole.' : 'Something is wrong. Keep a copy of the file and restore a backup.');
  return faults.length === 0 ? 0 : 1;
}
