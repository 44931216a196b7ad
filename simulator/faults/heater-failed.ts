import { HOUR } from '../../src/domain/duration.ts';
import type { Fault, FaultKind } from './fault.ts';

/** A heater's element has broken: no current, no heat, however cold the water. Repaired by a new heater. */
export function heaterFailed(params: { readonly heaterId: string }): Fault {
  return {
    name: 'heater-failed',
    does: `the element of ${params.heaterId} breaks: it draws nothing and does not heat`,
    params,
    apply: ({ world }) => {
      world.heater(params.heaterId).condition = 'failed';
    },
    undo: ({ world }) => {
      world.heater(params.heaterId).condition = 'healthy';
    },
  };
}

export default {
  name: 'heater-failed',
  gradual: false,
  watchMs: 36 * HOUR,
  season: 'winter',
  plan: (target) => {
    const heater = target.metered('heater');
    return heater === null ? null : heaterFailed({ heaterId: heater.id });
  },
} satisfies FaultKind;
