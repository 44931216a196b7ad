/** `tankbell serve`: runs until it is told to stop; SIGINT and SIGTERM lose nothing. */
import { startApp } from '../app.ts';
import type { ServiceConfig } from '../config/service.ts';
import { makeLogger } from '../log.ts';
import { giveBackMemory } from '../config/give-back.ts';
import type { Terminal } from './terminal.ts';

/** Exit code when the service cannot go on and should be started again (EX_SOFTWARE of sysexits.h). */
const brokenExit = 70;

export async function serve(config: ServiceConfig, terminal: Terminal): Promise<number> {
  const log = makeLogger('info', terminal.clock.now);
  const app = await startApp({
    config, env: terminal.env, clock: terminal.clock, log,
    onFatal: (error) => {
      log.error({ err: error }, 'cannot go on; start me again and I take up from the store');
      process.exit(brokenExit);
    },
  });
  giveBackMemory();
  if ((await app.store.accounts()).length === 0) {
    terminal.complain('Nobody can log in yet: make a login with "tankbell user add NAME --config FILE".');
  }
  terminal.print(`Tankbell watches ${app.desk.inForce.fleet.tanks.length} tanks. Web page: ${config.web.publicUrl}${app.brokerPort === null ? '' : `   MQTT broker: port ${app.brokerPort}`}`);
  for (const { name, detail, state } of app.sources()) if (state === 'trouble') terminal.complain(`${name}: ${detail}`);
  const reload = (): void => {
    log.info('SIGHUP: taking the fleet file anew');
    app.desk.reload('tankbell').then(
      (outcome) => {
        if (outcome.outcome === 'taken') log.info({ changes: outcome.changes }, 'the fleet file is in force');
        else log.error({ mistakes: outcome.mistakes }, 'the fleet file has mistakes; the fleet before stays in force');
      },
      (error: unknown) => log.error({ err: error }, 'the fleet file could not be taken'),
    );
  };
  process.on('SIGHUP', reload);
  await stopSignal();
  process.off('SIGHUP', reload);
  log.info('stopping');
  await app.stop();
  return 0;
}

function stopSignal(): Promise<void> {
  return new Promise((resolve) => {
    for (const signal of ['SIGINT', 'SIGTERM'] as const) process.once(signal, () => resolve());
  });
}
