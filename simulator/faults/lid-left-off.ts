import { DAY } from '../../src/domain/duration.ts';
import type { Fault, FaultKind } from './fault.ts';

/** A lid was left off, or a fan blows over the water: it evaporates faster, and everything is well but the reservoir. Repaired by putting the lid back. */
export function lidLeftOff(params: { readonly tankId: string }): Fault {
  return {
    name: 'lid-left-off',
    does: `the lid of ${params.tankId} was left off: it evaporates faster`,
    params,
    apply: ({ world }) => {
      world.tank(params.tankId).lidForgotten = true;
    },
    undo: ({ world }) => {
      world.tank(params.tankId).lidForgotten = false;
    },
  };
}

export default {
  name: 'lid-left-off',
  gradual: true,
  watchMs: 7 * DAY,
  season: 'any',
  plan: (target) => (target.piece('top-off-reservoir') === null ? null : lidLeftOff({ tankId: target.tank.id })),
} satisfies FaultKind;
