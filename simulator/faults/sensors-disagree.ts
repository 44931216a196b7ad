import { HOUR } from '../../src/domain/duration.ts';
import { type Fault, type FaultKind, instrumentOf } from './fault.ts';
import { readable } from './target.ts';

/** One of two sensors in the same water suddenly reads otherwise (water in its plug, a bad calibration). Repaired by a new sensor. */
export function sensorsDisagree(params: { readonly pointId: string; readonly by: number }): Fault {
  return {
    name: 'sensors-disagree',
    does: `${params.pointId} reads ${params.by} off from one moment to the next; the water does not change`,
    params,
    apply: (stage) => {
      instrumentOf(stage, params.pointId).shift = params.by;
    },
    undo: (stage) => {
      instrumentOf(stage, params.pointId).shift = 0;
    },
  };
}

export default {
  name: 'sensors-disagree',
  gradual: false,
  watchMs: 24 * HOUR,
  season: 'any',
  plan: (target, chance) => {
    const pair = [target.point('temperature', 'display'), target.point('temperature', 'sump')].filter((one) => one !== null);
    const point = pair.length < 2 ? null : chance.oneOf(pair);
    return point === null ? null : sensorsDisagree({ pointId: point.id, by: readable(chance.between(1, 2) * (chance.oneOf([-1, 1]) ?? 1)) });
  },
} satisfies FaultKind;
