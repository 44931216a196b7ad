/** The demo fleet, read as the service reads it. */
import { readFileSync } from 'node:fs';
import { loadFormats } from '../../adapters/load.ts';
import { readFleet } from '../../src/config/fleet-file.ts';
import type { Fleet } from '../../src/domain/fleet.ts';
import { loadRuleKinds } from '../../src/rules/load.ts';

export const formats = await loadFormats();

export async function demoFleet(): Promise<Fleet> {
  const text = readFileSync(new URL('../../simulator/fleet.yaml', import.meta.url), 'utf8');
  const reading = readFleet(text, 'simulator/fleet.yaml', { kinds: await loadRuleKinds(), formats, broker: 'embedded' });
  if ('mistakes' in reading) throw new Error(reading.mistakes.map(({ line, message, fix }) => `line ${line}: ${message}; ${fix}`).join('\n'));
  return reading.fleet;
}
