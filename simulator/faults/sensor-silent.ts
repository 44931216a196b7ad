import { HOUR } from '../../src/domain/duration.ts';
import { type Fault, type FaultKind, instrumentOf } from './fault.ts';

/** One sensor sends nothing any more: its battery is flat, its cable off. Its gateway and everything else go on. Repaired by a new battery. */
export function sensorSilent(params: { readonly pointId: string }): Fault {
  return {
    name: 'sensor-silent',
    does: `${params.pointId} sends nothing; the water is well`,
    params,
    apply: (stage) => {
      instrumentOf(stage, params.pointId).silent = true;
    },
    undo: (stage) => {
      instrumentOf(stage, params.pointId).silent = false;
    },
  };
}

export default {
  name: 'sensor-silent',
  gradual: false,
  watchMs: 6 * HOUR,
  season: 'any',
  plan: (target, chance) => {
    const point = chance.oneOf(target.points.filter(({ tankId }) => tankId !== null));
    return point === null ? null : sensorSilent({ pointId: point.id });
  },
} satisfies FaultKind;
