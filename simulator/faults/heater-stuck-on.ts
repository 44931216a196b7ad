import type { Fault } from './fault.ts';

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
