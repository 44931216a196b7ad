import { DAY } from '../../src/domain/duration.ts';
import type { Fault, FaultKind } from './fault.ts';
import { readable } from './target.ts';

/** A compressor runs without cooling: its refrigerant is lost (it then runs light), or no water goes through it. Repaired by a refrigeration technician. */
export function chillerNotCooling(params: { readonly chillerId: string; readonly drawShare: number }): Fault {
  return {
    name: 'chiller-not-cooling',
    does: `${params.chillerId} runs and takes no heat out; it draws ${Math.round(100 * params.drawShare)} % of the usual`,
    params,
    apply: ({ world }) => {
      const chiller = world.chiller(params.chillerId);
      chiller.coolingShare = 0;
      chiller.drawShare = params.drawShare;
    },
    undo: ({ world }) => {
      const chiller = world.chiller(params.chillerId);
      chiller.coolingShare = 1;
      chiller.drawShare = 1;
    },
  };
}

export default {
  name: 'chiller-not-cooling',
  gradual: false,
  watchMs: 4 * DAY,
  season: 'summer',
  plan: (target, chance) => {
    const chiller = target.metered('chiller');
    return chiller === null ? null : chillerNotCooling({ chillerId: chiller.id, drawShare: readable(chance.between(0.55, 1)) });
  },
} satisfies FaultKind;
