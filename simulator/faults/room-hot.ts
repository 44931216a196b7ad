import { HOUR } from '../../src/domain/duration.ts';
import type { Fault, FaultKind } from './fault.ts';
import { readable } from './target.ts';

/** A site's air conditioning does not keep up: the room settles this much above its usual temperature. */
export function roomHot(params: { readonly siteId: string; readonly byK: number }): Fault {
  return {
    name: 'room-hot',
    does: `the room at ${params.siteId} is ${params.byK} K warmer than usual`,
    params,
    apply: ({ world }) => {
      world.site(params.siteId).extraRoomK = params.byK;
    },
    undo: ({ world }) => {
      world.site(params.siteId).extraRoomK = 0;
    },
  };
}

export default {
  name: 'room-hot',
  gradual: true,
  watchMs: 48 * HOUR,
  season: 'summer',
  plan: (target, chance) => {
    if (target.piece('chiller') !== null) return null;
    // A fan that is there to help out must be outrun as well.
    return roomHot({ siteId: target.tank.siteId, byK: readable(target.piece('fan') === null ? chance.between(6.5, 9) : chance.between(9, 12)) });
  },
} satisfies FaultKind;
