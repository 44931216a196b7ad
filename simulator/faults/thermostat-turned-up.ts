import { HOUR } from '../../src/domain/duration.ts';
import type { Fault, FaultKind } from './fault.ts';
import { readable } from './target.ts';

/** Somebody has turned the dial of a heater, or its thermostat has lost its calibration: it holds the water too warm. Repaired by turning it back. */
export function thermostatTurnedUp(params: { readonly heaterId: string; readonly byK: number }): Fault {
  return {
    name: 'thermostat-turned-up',
    does: `the thermostat of ${params.heaterId} holds the water ${params.byK} K too warm`,
    params,
    apply: ({ world }) => {
      world.heater(params.heaterId).thermostat.setpointC += params.byK;
    },
    undo: ({ world }) => {
      world.heater(params.heaterId).thermostat.setpointC -= params.byK;
    },
  };
}

export default {
  name: 'thermostat-turned-up',
  gradual: true,
  watchMs: 48 * HOUR,
  season: 'any',
  plan: (target, chance) => {
    const heater = target.metered('heater');
    // Beside a chiller it is another fault: the two fight.
    return heater === null || target.piece('chiller') !== null ? null : thermostatTurnedUp({ heaterId: heater.id, byK: readable(chance.between(3.8, 5)) });
  },
} satisfies FaultKind;
