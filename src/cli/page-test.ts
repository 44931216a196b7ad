/** `tankbell page-test`: puts a test page into the outbox; the running service sends it. */
import { existsSync } from 'node:fs';
import { join } from 'node:path';
import { StartError } from '../app.ts';
import type { ServiceConfig } from '../config/service.ts';
import { loadFleet } from './fleet.ts';
import { openSqliteStore } from '../store/sqlite.ts';
import type { Terminal } from './terminal.ts';

export async function pageTest(personId: string, config: ServiceConfig, terminal: Terminal): Promise<number> {
  const fleet = await loadFleet(config);
  const person = fleet.people.find(({ id }) => id === personId);
  if (person === undefined) throw new StartError(`there is no person "${personId}" in ${config.fleetFile}; there is ${fleet.people.map(({ id }) => id).join(', ')}`);
  const store = await openSqliteStore(join(config.dataDir, 'tankbell.sqlite'));
  try {
    const nowMs = terminal.clock.now();
    await store.enqueue({ id: `test-${personId}-${nowMs}`, alarmId: null, personId, reason: 'test', createdMs: nowMs });
    const isRunning = existsSync(join(config.dataDir, 'running.json'));
    terminal.print(`a test page to ${person.name} <${person.email}> is in the outbox${isRunning ? '' : '; it goes out when the service runs'}${config.mail === null ? '; but mail is not set up in the service file' : ''}`);
    return 0;
  } finally {
    await store.close();
  }
}
