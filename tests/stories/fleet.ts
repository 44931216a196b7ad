/** The one invented tank that the stories are told about: fleet.yaml beside this file. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { loadFormats } from '../../adapters/load.ts';
import { readFleet } from '../../src/config/fleet-file.ts';
import type { Fleet } from '../../src/domain/fleet.ts';
import { compileRules } from '../../src/rules/compile.ts';
import type { Rule } from '../../src/rules/contract.ts';
import { loadRuleKinds } from '../../src/rules/load.ts';

export async function storyFleet(): Promise<{ fleet: Fleet; rules: readonly Rule[] }> {
  const file = join(import.meta.dirname, 'fleet.yaml');
  const kinds = await loadRuleKinds();
  const read = readFleet(readFileSync(file, 'utf8'), 'tests/stories/fleet.yaml', { kinds, formats: await loadFormats(), broker: 'embedded' });
  if ('mistakes' in read) throw new Error(JSON.stringify(read.mistakes, null, 2));
  return { fleet: read.fleet, rules: compileRules(read.fleet, kinds) };
}
