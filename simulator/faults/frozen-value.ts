import { HOUR } from '../../src/domain/duration.ts';
import { type Fault, type FaultKind, instrumentOf } from './fault.ts';

/** A sensor repeats its last value for ever (its gateway serves a cached one), whatever the water does. Repaired by restarting it. */
export function frozenValue(params: { readonly pointId: string }): Fault {
  return {
    name: 'frozen-value',
    does: `${params.pointId} repeats its last value; the water does not stand still`,
    params,
    apply: (stage) => {
      instrumentOf(stage, params.pointId).frozen = true;
    },
    undo: (stage) => {
      instrumentOf(stage, params.pointId).frozen = false;
    },
  };
}

export default {
  name: 'frozen-value',
  gradual: false,
  watchMs: 36 * HOUR,
  season: 'any',
  plan: (target, chance) => {
    // What never moves in health cannot be seen to stand still.
    const point = chance.oneOf([target.inWater('temperature'), target.inWater('conductivity')].filter((one) => one !== null));
    return point === null ? null : frozenValue({ pointId: point.id });
  },
} satisfies FaultKind;
