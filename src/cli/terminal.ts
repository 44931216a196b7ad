/** What a command needs of the world, and the service file it was given. */
import { readFileSync } from 'node:fs';
import { StartError } from '../app.ts';
import type { Clock } from '../clock.ts';
import { showMistake } from '../config/mistake.ts';
import type { Environment } from '../config/secrets.ts';
import type { ServiceConfig } from '../config/service.ts';
import { readService } from '../config/service-file.ts';

export interface Terminal {
  print(text: string): void;
  complain(text: string): void;
  readonly env: Environment;
  readonly clock: Clock;
}

/** @throws StartError with every mistake, its place and its fix. */
export function openService(file: string, terminal: Terminal): ServiceConfig {
  let text: string;
  try {
    text = readFileSync(file, 'utf8');
  } catch (error) {
    throw new StartError(`cannot read the service file ${file}: ${error instanceof Error ? error.message : String(error)}`);
  }
  const read = readService(text, file, terminal.env);
  if ('mistakes' in read) throw new StartError(read.mistakes.map((mistake) => showMistake(mistake)).join('\n'));
  if (read.missingSecrets.length > 0) throw new StartError(read.missingSecrets.map((mistake) => showMistake(mistake)).join('\n'));
  for (const warning of read.warnings) terminal.complain(showMistake(warning, 'warning'));
  return read.config;
}
