/** Runs one command of the command line, on the real clock, terminal and environment. */
import { loadFormats } from '../../adapters/load.ts';
import { StartError } from '../app.ts';
import { systemClock } from '../clock.ts';
import { loadRuleKinds } from '../rules/load.ts';
import { StoreError } from '../store/contract.ts';
import type { Command } from './arguments.ts';
import { backup } from './backup.ts';
import { check } from './check.ts';
import { checkStore } from './check-store.ts';
import { runImport } from './import.ts';
import { pageTest } from './page-test.ts';
import { restore } from './restore.ts';
import { serve } from './serve.ts';
import { openService, type Terminal } from './terminal.ts';
import { user } from './user.ts';

const terminal: Terminal = {
  print: (text) => process.stdout.write(`${text}\n`),
  complain: (text) => process.stderr.write(`${text}\n`),
  env: process.env,
  clock: systemClock,
};

/** @returns the exit code. */
export async function runCommand(command: Command): Promise<number> {
  try {
    switch (command.command) {
      case 'check':
        return await check(command.files, { ...terminal, kinds: await loadRuleKinds(), formats: await loadFormats() });
      case 'serve':
        return await serve(openService(command.config, terminal), terminal);
      case 'import':
        return await runImport(command, openService(command.config, terminal), terminal);
      case 'user':
        return await user(command, openService(command.config, terminal), terminal);
      case 'backup':
        return await backup(command.target, openService(command.config, terminal), terminal);
      case 'restore':
        return await restore(command.file, command.replace, openService(command.config, terminal), terminal);
      case 'check-store':
        return checkStore(openService(command.config, terminal), terminal);
      case 'page-test':
        return await pageTest(command.person, openService(command.config, terminal), terminal);
    }
  } catch (error) {
    // What an operator can mend is said in words; anything else is a fault of ours and keeps its stack.
    if (error instanceof StartError || error instanceof StoreError || isListenError(error)) {
      terminal.complain(error.message);
      return 1;
    }
    throw error;
  }
}

function isListenError(error: unknown): error is Error {
  return error instanceof Error && 'code' in error && (error.code === 'EADDRINUSE' || error.code === 'EACCES' || error.code === 'EADDRNOTAVAIL' || error.code === 'ENOENT');
}
