import { DAY } from '../../src/domain/duration.ts';
import type { Fault, FaultKind } from './fault.ts';
import { readable } from './target.ts';

/** A lid was left off, a fan blows over the water: it evaporates faster, and everything is well but the reservoir. Repaired by putting the lid back. */
export function lidLeftOff(params: { readonly tankId: string; readonly draughtMetresPerSecond: number }): Fault {
  return {
    name: 'lid-left-off',
    does: `the lid of ${params.tankId} was left off in a draught: it evaporates faster`,
    params,
    apply: ({ world }) => {
      world.tank(params.tankId).lidForgotten = params.draughtMetresPerSecond;
    },
    undo: ({ world }) => {
      world.tank(params.tankId).lidForgotten = null;
    },
  };
}

export default {
  name: 'lid-left-off',
  gradual: true,
  watchMs: 7 * DAY,
  season: 'any',
  // Less of a draught is within what weather does to evaporation. Over water colder than the room next to nothing evaporates, lid or not.
  plan: (target, chance) => (target.piece('top-off-reservoir') === null || target.tank.water === 'cold' ? null : lidLeftOff({ tankId: target.tank.id, draughtMetresPerSecond: readable(chance.between(0.9, 1.4)) })),
} satisfies FaultKind;
