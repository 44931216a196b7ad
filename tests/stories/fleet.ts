/** The invented tanks that the stories of a folder are told about: its fleet.yaml. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { loadFormats } from '../../adapters/load.ts';
import { readFleet } from '../../src/config/fleet-file.ts';
import type { Fleet } from '../../src/domain/fleet.ts';
import { compileRules } from '../../src/rules/compile.ts';
import type { Rule, RuleKind } from '../../src/rules/contract.ts';
import { loadRuleKinds } from '../../src/rules/load.ts';

/** @param only a fixed set of kinds, for stories that are not to change with every new one. */
export async function storyFleet(folder = '.', only: ReadonlyMap<string, RuleKind> | null = null): Promise<{ fleet: Fleet; rules: readonly Rule[] }> {
  const file = join(import.meta.dirname, folder, 'fleet.yaml');
  const kinds = only ?? await loadRuleKinds();
  const read = readFleet(readFileSync(file, 'utf8'), `tests/stories/${folder}/fleet.yaml`, { kinds, formats: await loadFormats(), broker: 'embedded' });
  if ('mistakes' in read) throw new Error(JSON.stringify(read.mistakes, null, 2));
  return { fleet: read.fleet, rules: compileRules(read.fleet, kinds) };
}
