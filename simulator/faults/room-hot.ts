import type { Fault } from './fault.ts';

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
