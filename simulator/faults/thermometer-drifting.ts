import { DAY } from '../../src/domain/duration.ts';
import { type Fault, type FaultKind, instrumentOf } from './fault.ts';
import { readable } from './target.ts';

/** A sensor creeps away from the truth, in the canonical unit of its kind per day; the water is well. Repaired by a new sensor. */
export function thermometerDrifting(params: { readonly pointId: string; readonly perDay: number }): Fault {
  return {
    name: 'thermometer-drifting',
    does: `${params.pointId} drifts by ${params.perDay} a day; the water does not`,
    params,
    apply: (stage, atMs) => {
      instrumentOf(stage, params.pointId).drift = { sinceMs: atMs, perDay: params.perDay };
    },
    undo: (stage) => {
      instrumentOf(stage, params.pointId).drift = null;
    },
  };
}

export default {
  name: 'thermometer-drifting',
  gradual: true,
  watchMs: 14 * DAY,
  season: 'any',
  plan: (target, chance) => {
    // Only a second thermometer in the same water tells a creeping probe from creeping water.
    if (target.point('temperature', 'sump') === null) return null;
    const point = target.point('temperature', 'display');
    return point === null ? null : thermometerDrifting({ pointId: point.id, perDay: readable(chance.between(0.12, 0.3) * (chance.oneOf([-1, 1]) ?? 1)) });
  },
} satisfies FaultKind;
