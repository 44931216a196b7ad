import { HOUR } from '../../src/domain/duration.ts';
import type { Fault, FaultKind } from './fault.ts';
import { readable } from './target.ts';

/** The heating of a building has failed in winter: the room cools, and a heater that was large enough runs without a stop and falls behind. */
export function roomCold(params: { readonly siteId: string; readonly byK: number }): Fault {
  return {
    name: 'room-cold',
    does: `the room at ${params.siteId} is ${params.byK} K colder than usual`,
    params,
    apply: ({ world }) => {
      world.site(params.siteId).extraRoomK = -params.byK;
    },
    undo: ({ world }) => {
      world.site(params.siteId).extraRoomK = 0;
    },
  };
}

export default {
  name: 'room-cold',
  gradual: true,
  watchMs: 48 * HOUR,
  season: 'winter',
  plan: (target, chance) => {
    if (target.metered('heater') === null) return null;
    // A second heater that is there to help out must be outrun as well.
    const several = target.equipment.filter(({ kind }) => kind === 'heater').length > 1;
    return roomCold({ siteId: target.tank.siteId, byK: readable(several ? chance.between(13, 16) : chance.between(7.5, 10)) });
  },
} satisfies FaultKind;
