import { HOUR } from '../../src/domain/duration.ts';
import type { Leak } from '../world/tank.ts';
import type { Fault, FaultKind } from './fault.ts';
import { readable } from './target.ts';

/** A small leak runs over the leak pad on the floor. Repaired by a new fitting and a mop. */
export function floorWet(params: { readonly tankId: string; readonly from: 'display' | 'sump'; readonly litresPerHour: number }): Fault {
  const hole: Leak = { kgPerS: params.litresPerHour / 3600, from: params.from, ontoPad: true };
  return {
    name: 'floor-wet',
    does: `the ${params.from} of ${params.tankId} drips ${params.litresPerHour} L an hour onto the leak pad`,
    params,
    apply: ({ world }) => {
      world.tank(params.tankId).leaks.add(hole);
    },
    undo: ({ world }) => {
      const tank = world.tank(params.tankId);
      tank.leaks.delete(hole);
      tank.floorKg = 0;
    },
  };
}

export default {
  name: 'floor-wet',
  gradual: false,
  watchMs: 12 * HOUR,
  season: 'any',
  plan: (target, chance) => {
    if (!target.points.some(({ kind, place, tankId }) => kind === 'switch' && tankId !== null && place === 'room')) return null;
    return floorWet({ tankId: target.tank.id, from: target.hasSump ? 'sump' : 'display', litresPerHour: readable(chance.between(0.2, 1)) });
  },
} satisfies FaultKind;
