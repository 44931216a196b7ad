/** The fleets that trials are run on, with their rules, as the service reads and compiles them. */
import { readFileSync } from 'node:fs';
import { loadFormats } from '../../adapters/load.ts';
import { fleetFileOf, type TankKind } from '../../simulator/tank-kinds.ts';
import { readFleet } from '../../src/config/fleet-file.ts';
import type { Fleet } from '../../src/domain/fleet.ts';
import { compileRules, type RuleKinds } from '../../src/rules/compile.ts';
import type { Rule } from '../../src/rules/contract.ts';
import { loadRuleKinds } from '../../src/rules/load.ts';

export interface Watched {
  readonly fleet: Fleet;
  readonly rules: readonly Rule[];
}

export interface Fleets {
  readonly kinds: RuleKinds;
  of(tankKind: TankKind): Watched;
}

/** @throws Error with every mistake of a fleet file that cannot be read. */
export async function loadFleets(): Promise<Fleets> {
  const [kinds, formats] = await Promise.all([loadRuleKinds(), loadFormats()]);
  const known = new Map<TankKind, Watched>();
  const read = (tankKind: TankKind): Watched => {
    const file = fleetFileOf(tankKind);
    const reading = readFleet(readFileSync(file, 'utf8'), file, { kinds, formats, broker: 'embedded' });
    if ('mistakes' in reading) throw new Error(reading.mistakes.map(({ line, column, message, fix }) => `${file}:${line}:${column}: ${message}; ${fix}`).join('\n'));
    return { fleet: reading.fleet, rules: compileRules(reading.fleet, kinds) };
  };
  return {
    kinds,
    of(tankKind) {
      const fleet = known.get(tankKind) ?? read(tankKind);
      known.set(tankKind, fleet);
      return fleet;
    },
  };
}
