/** The rule kinds and payload formats that are there, for tests that read fleet files. */
import { loadFormats } from '../../adapters/load.ts';
import type { FleetReaders } from '../../src/config/fleet-file.ts';
import { loadRuleKinds } from '../../src/rules/load.ts';

export async function readersFor(broker: FleetReaders['broker']): Promise<FleetReaders> {
  return { kinds: await loadRuleKinds(), formats: await loadFormats(), broker };
}
