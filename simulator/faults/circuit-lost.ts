import { HOUR } from '../../src/domain/duration.ts';
import type { Fault, FaultKind } from './fault.ts';

/** A breaker has tripped, or a strip is off: everything that hangs on it is dead, everything else runs. Repaired by an electrician, once the reason is known. */
export function circuitLost(params: { readonly siteId: string; readonly circuit: string }): Fault {
  return {
    name: 'circuit-lost',
    does: `${params.circuit} at ${params.siteId} is dead`,
    params,
    apply: ({ world }) => {
      world.site(params.siteId).deadCircuits.add(params.circuit);
    },
    undo: ({ world }) => {
      world.site(params.siteId).deadCircuits.delete(params.circuit);
    },
  };
}

export default {
  name: 'circuit-lost',
  gradual: false,
  watchMs: 36 * HOUR,
  season: 'any',
  plan: (target, chance) => {
    const metered = target.equipment.filter(({ id, circuit }) => circuit !== null && target.points.some(({ equipmentId, kind }) => equipmentId === id && kind === 'power'));
    const circuits = [...new Set(metered.map(({ circuit }) => circuit ?? ''))];
    // Of a single appliance nobody could tell the breaker from its own switch; and with every one dead it is the mains.
    const several = circuits.filter((circuit) => metered.filter((piece) => piece.circuit === circuit).length > 1);
    const circuit = circuits.length < 2 ? null : chance.oneOf(several);
    return circuit === null ? null : circuitLost({ siteId: target.tank.siteId, circuit });
  },
} satisfies FaultKind;
