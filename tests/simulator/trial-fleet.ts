/** The fleets of the kinds of tank, read as the service reads them. */
import { readFileSync } from 'node:fs';
import { readFleet } from '../../src/config/fleet-file.ts';
import type { Fleet } from '../../src/domain/fleet.ts';
import { loadRuleKinds } from '../../src/rules/load.ts';
import { fleetFileOf, type TankKind, tankKinds } from '../../simulator/tank-kinds.ts';
import { formats } from './demo-fleet.ts';

const kinds = await loadRuleKinds();

const fleets = new Map(tankKinds.map((kind) => {
  const reading = readFleet(readFileSync(fleetFileOf(kind), 'utf8'), fleetFileOf(kind), { kinds, formats, broker: 'embedded' });
  if ('mistakes' in reading) throw new Error(reading.mistakes.map(({ line, message, fix }) => `${kind}, line ${line}: ${message}; ${fix}`).join('\n'));
  return [kind, reading.fleet] as const;
}));

export function trialFleet(kind: TankKind): Fleet {
  const fleet = fleets.get(kind);
  if (fleet === undefined) throw new Error(kind);
  return fleet;
}
