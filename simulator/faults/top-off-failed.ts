import { DAY } from '../../src/domain/duration.ts';
import type { Fault, FaultKind } from './fault.ts';

/** Evaporation is not made up although the reservoir is full: the top-off pump is dead, or its float hangs in the high position. Repaired by freeing or replacing it. */
export function topOffFailed(params: { readonly pumpId: string; readonly cause: 'pump-dead' | 'float-jammed' }): Fault {
  return {
    name: 'top-off-failed',
    does: params.cause === 'pump-dead' ? `${params.pumpId} does not run when called: the sump falls` : `the float of ${params.pumpId} is jammed: nobody calls it, and the sump falls`,
    params,
    apply: ({ world }) => {
      if (params.cause === 'pump-dead') world.motor(params.pumpId).stopped = true;
      else world.tankOf(params.pumpId).floatJammed = 'up';
    },
    undo: ({ world }) => {
      if (params.cause === 'pump-dead') world.motor(params.pumpId).stopped = false;
      else world.tankOf(params.pumpId).floatJammed = null;
    },
  };
}

export default {
  name: 'top-off-failed',
  gradual: true,
  watchMs: 5 * DAY,
  // In a humid summer next to nothing evaporates from a cold tank, and nothing is missing.
  season: 'winter',
  plan: (target, chance) => {
    const pump = target.metered('top-off-pump');
    if (pump === null || target.point('level', 'sump') === null) return null;
    return topOffFailed({ pumpId: pump.id, cause: chance.oneOf(['pump-dead', 'float-jammed']) ?? 'pump-dead' });
  },
} satisfies FaultKind;
