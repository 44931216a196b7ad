import { HOUR } from '../../src/domain/duration.ts';
import { type Fault, type FaultKind, instrumentOf } from './fault.ts';
import { readable } from './target.ts';

/** A cable has gone bad: now and then a reading is wild, and the next is right again. Repaired by a new plug. */
export function spikes(params: { readonly pointId: string; readonly share: number; readonly size: number }): Fault {
  return {
    name: 'spikes',
    does: `${Math.round(1000 * params.share) / 10} % of the readings of ${params.pointId} are off by up to ${params.size}`,
    params,
    apply: (stage) => {
      instrumentOf(stage, params.pointId).spikes = { share: params.share, size: params.size };
    },
    undo: (stage) => {
      instrumentOf(stage, params.pointId).spikes = null;
    },
  };
}

export default {
  name: 'spikes',
  gradual: false,
  watchMs: 24 * HOUR,
  season: 'any',
  plan: (target, chance) => {
    const point = chance.oneOf([target.inWater('temperature'), target.inWater('conductivity')].filter((one) => one !== null));
    if (point === null) return null;
    const size = point.kind === 'temperature' ? chance.between(4, 10) : chance.between(0.1, 0.3) * (target.isSalt ? 53 : 0.5);
    return spikes({ pointId: point.id, share: readable(chance.between(0.03, 0.1)), size: readable(size) });
  },
} satisfies FaultKind;
