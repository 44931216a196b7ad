import { HOUR } from '../../src/domain/duration.ts';
import type { Fault, FaultKind } from './fault.ts';

/** The contacts of a heater's thermostat have welded: it heats whatever the water says. Repaired by a new thermostat. */
export function heaterStuckOn(params: { readonly heaterId: string }): Fault {
  return {
    name: 'heater-stuck-on',
    does: `the thermostat contacts of ${params.heaterId} weld shut: it heats without a stop`,
    params,
    apply: ({ world }) => {
      world.heater(params.heaterId).condition = 'stuck-on';
    },
    undo: ({ world }) => {
      world.heater(params.heaterId).condition = 'healthy';
    },
  };
}

export default {
  name: 'heater-stuck-on',
  gradual: false,
  watchMs: 18 * HOUR,
  season: 'any',
  plan: (target) => {
    const heater = target.metered('heater');
    return heater === null ? null : heaterStuckOn({ heaterId: heater.id });
  },
} satisfies FaultKind;
