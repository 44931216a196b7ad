import { DAY } from '../../src/domain/duration.ts';
import type { Fault, FaultKind } from './fault.ts';
import { readable } from './target.ts';

/** A chiller cools a little less every day (refrigerant seeps out, the condenser gathers dust), down to a fifth. Repaired by cleaning or refilling it. */
export function chillerLosingCapacity(params: { readonly chillerId: string; readonly sharePerDay: number }): Fault {
  let sinceMs = 0;
  return {
    name: 'chiller-losing-capacity',
    does: `${params.chillerId} loses ${Math.round(1000 * params.sharePerDay) / 10} % of its cooling every day`,
    params,
    apply: (_stage, atMs) => {
      sinceMs = atMs;
    },
    progress: ({ world }, nowMs) => {
      world.chiller(params.chillerId).coolingShare = Math.max(0.2, 1 - (params.sharePerDay * (nowMs - sinceMs)) / DAY);
    },
    undo: ({ world }) => {
      world.chiller(params.chillerId).coolingShare = 1;
    },
  };
}

export default {
  name: 'chiller-losing-capacity',
  gradual: true,
  watchMs: 28 * DAY,
  season: 'summer',
  plan: (target, chance) => {
    const chiller = target.metered('chiller');
    return chiller === null ? null : chillerLosingCapacity({ chillerId: chiller.id, sharePerDay: readable(chance.between(0.025, 0.05)) });
  },
} satisfies FaultKind;
