/** `tankbell backup`: a checked copy of the store, while the service runs or not. */
import { existsSync, mkdirSync, statSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { StartError } from '../app.ts';
import type { ServiceConfig } from '../config/service.ts';
import { DATABASE, backUp, backupName } from '../store/backup.ts';
import { showCounts } from '../store/verify.ts';
import type { Terminal } from './terminal.ts';

/** @param target a folder, in which the file is named after the time; or a file that does not exist. */
export async function backup(target: string, config: ServiceConfig, terminal: Terminal): Promise<number> {
  const source = join(config.dataDir, DATABASE);
  if (!existsSync(source)) throw new StartError(`there is no store in ${config.dataDir} yet`);
  const nowMs = terminal.clock.now();
  const isFolder = target.endsWith('/') || (existsSync(target) && statSync(target).isDirectory());
  const file = isFolder ? join(target, backupName(nowMs)) : target;
  mkdirSync(dirname(file), { recursive: true, mode: 0o700 });
  const { bytes, sha256, counts } = await backUp(source, file, nowMs);
  terminal.print(`${file}: ${(bytes / 1e6).toFixed(1)} MB, read back and whole: ${showCounts(counts)}\nSHA-256 ${sha256}`);
  terminal.print('Kept elsewhere: the service file, the fleet file, and secret.key of the data folder (without it, links in messages sent so far stop working).');
  return 0;
}
