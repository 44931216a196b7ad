import { DAY } from '../../src/domain/duration.ts';
import type { Fault, FaultKind } from './fault.ts';
import { readable } from './target.ts';

/**
 * A chiller's controller has lost its dead zone and its rest between runs: the relay chatters, and the compressor starts against the head
 * pressure of the last run, again and again. Repaired by a new controller.
 */
export function chillerShortCycling(params: { readonly chillerId: string; readonly shortestS: number; readonly longestS: number }): Fault {
  return {
    name: 'chiller-short-cycling',
    does: `the relay of ${params.chillerId} chatters: runs and rests of ${params.shortestS}–${params.longestS} s while cooling is called for`,
    params,
    apply: ({ world }) => {
      const bounds = [params.shortestS, params.longestS] as const;
      world.chiller(params.chillerId).chatter = { onS: bounds, offS: bounds };
    },
    undo: ({ world }) => {
      world.chiller(params.chillerId).chatter = null;
    },
  };
}

export default {
  name: 'chiller-short-cycling',
  gradual: false,
  watchMs: 3 * DAY,
  season: 'summer',
  plan: (target, chance) => {
    const chiller = target.metered('chiller');
    return chiller === null ? null : chillerShortCycling({ chillerId: chiller.id, shortestS: readable(chance.between(40, 70)), longestS: readable(chance.between(90, 150)) });
  },
} satisfies FaultKind;
