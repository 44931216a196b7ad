import { DAY, HOUR } from '../../src/domain/duration.ts';
import type { Leak } from '../world/tank.ts';
import type { Fault, FaultKind } from './fault.ts';
import { readable } from './target.ts';

/** Water and salt are lost unseen (a weeping fitting, a siphon into the drain); the top-off makes it up with fresh water, so the salinity falls. Repaired by a new fitting. */
export function leak(params: { readonly tankId: string; readonly from: 'display' | 'sump'; readonly litresPerHour: number }): Fault {
  const hole: Leak = { kgPerS: params.litresPerHour / 3600, from: params.from, ontoPad: false };
  return {
    name: 'leak',
    does: `the ${params.from} of ${params.tankId} loses ${params.litresPerHour} L an hour, unseen`,
    params,
    apply: ({ world }) => {
      world.tank(params.tankId).leaks.add(hole);
    },
    undo: ({ world }) => {
      world.tank(params.tankId).leaks.delete(hole);
    },
  };
}

export default {
  name: 'leak',
  gradual: true,
  watchMs: 4 * DAY,
  season: 'any',
  plan: (target, chance) => {
    if (target.inWater('level') === null && target.piece('top-off-reservoir') === null) return null;
    // A tenth to a fifth of the water in a day: several times what evaporates.
    return leak({ tankId: target.tank.id, from: target.hasSump ? 'sump' : 'display', litresPerHour: readable((chance.between(0.08, 0.2) * target.litres * HOUR) / DAY) });
  },
} satisfies FaultKind;
