/** The fleet file of a service, checked, for commands that need it without starting anything. */
import { readFileSync } from 'node:fs';
import { loadFormats } from '../../adapters/load.ts';
import { StartError } from '../app.ts';
import { readFleet } from '../config/fleet-file.ts';
import { showMistake } from '../config/mistake.ts';
import type { ServiceConfig } from '../config/service.ts';
import type { Fleet } from '../domain/fleet.ts';
import { loadRuleKinds } from '../rules/load.ts';

/** @throws StartError with every mistake. */
export async function loadFleet(config: ServiceConfig): Promise<Fleet> {
  const read = readFleet(readFileSync(config.fleetFile, 'utf8'), config.fleetFile, { kinds: await loadRuleKinds(), formats: await loadFormats(), broker: config.mqtt.broker });
  if ('mistakes' in read) throw new StartError(read.mistakes.map((mistake) => showMistake(mistake)).join('\n'));
  return read.fleet;
}
