import { HOUR } from '../../src/domain/duration.ts';
import type { Fault, FaultKind } from './fault.ts';

/** The relay of a top-off pump has welded: it pumps whatever the float says. The sump rises, the water gets fresher, and in the end it runs over. Repaired by a new relay. */
export function topOffStuckOn(params: { readonly pumpId: string }): Fault {
  return {
    name: 'top-off-stuck-on',
    does: `${params.pumpId} pumps without a stop: the sump rises and the salinity falls`,
    params,
    apply: ({ world }) => {
      world.motor(params.pumpId).stuckOn = true;
    },
    undo: ({ world }) => {
      world.motor(params.pumpId).stuckOn = false;
    },
  };
}

export default {
  name: 'top-off-stuck-on',
  gradual: false,
  watchMs: 12 * HOUR,
  season: 'any',
  plan: (target) => {
    const pump = target.metered('top-off-pump');
    return pump === null ? null : topOffStuckOn({ pumpId: pump.id });
  },
} satisfies FaultKind;
