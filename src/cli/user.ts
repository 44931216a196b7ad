/** `tankbell user`: logins of the web pages. Works beside a running service. */
import { createInterface } from 'node:readline';
import { Writable } from 'node:stream';
import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { StartError } from '../app.ts';
import type { ServiceConfig } from '../config/service.ts';
import { openSqliteStore } from '../store/sqlite.ts';
import { hashPassword, passwordProblem } from '../web/passwords.ts';
import type { Command } from './arguments.ts';
import type { Terminal } from './terminal.ts';

export async function user(command: Extract<Command, { command: 'user' }>, config: ServiceConfig, terminal: Terminal): Promise<number> {
  mkdirSync(config.dataDir, { recursive: true });
  const store = await openSqliteStore(join(config.dataDir, 'tankbell.sqlite'));
  try {
    const nowMs = terminal.clock.now();
    switch (command.action) {
      case 'list': {
        const accounts = await store.accounts();
        for (const account of accounts) terminal.print(`${account.name}${account.personId === null ? '' : `  (${account.personId})`}`);
        if (accounts.length === 0) terminal.print('no logins yet');
        return 0;
      }
      case 'remove':
        if (!(await store.removeAccount(command.name))) throw new StartError(`there is no login "${command.name}"; "tankbell user list" shows them`);
        await store.appendJournal([{ atMs: nowMs, kind: 'user', siteId: null, tankId: null, alarmId: null, by: 'command line', text: `Login ${command.name} removed`, detail: {} }]);
        terminal.print(`removed ${command.name}`);
        return 0;
      case 'add': {
        const password = command.passwordFromStdin ? await firstLine() : await askHidden(`Password for ${command.name}: `);
        const problem = passwordProblem(password);
        if (problem !== null) throw new StartError(`the password is ${problem}`);
        await store.putAccount({ name: command.name, passwordHash: await hashPassword(password), createdMs: nowMs, personId: command.person });
        await store.appendJournal([{ atMs: nowMs, kind: 'user', siteId: null, tankId: null, alarmId: null, by: 'command line', text: `Login ${command.name} set`, detail: { personId: command.person } }]);
        terminal.print(`${command.name} can log in`);
        return 0;
      }
    }
  } finally {
    await store.close();
  }
}

function firstLine(): Promise<string> {
  return new Promise((resolve) => {
    const lines = createInterface({ input: process.stdin });
    lines.once('line', (line) => {
      resolve(line);
      lines.close();
    });
    lines.once('close', () => resolve(''));
  });
}

/** Asks on the terminal without showing what is typed. */
function askHidden(question: string): Promise<string> {
  if (!process.stdin.isTTY) throw new StartError('there is no terminal to ask for the password on; pipe it in and add --password-stdin');
  process.stderr.write(question);
  const silent = new Writable({ write: (_chunk, _encoding, done) => done() });
  const lines = createInterface({ input: process.stdin, output: silent, terminal: true });
  return new Promise((resolve) => {
    lines.question('', (answer) => {
      lines.close();
      process.stderr.write('\n');
      resolve(answer);
    });
  });
}
