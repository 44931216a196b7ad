import { HOUR } from '../../src/domain/duration.ts';
import type { Fault, FaultKind } from './fault.ts';
import { readable } from './target.ts';

/** The thermostat of a heater was set above that of the chiller: each undoes what the other does, and the meter runs. Repaired by setting it back. */
export function heaterChillerFighting(params: { readonly heaterId: string; readonly chillerId: string; readonly aboveK: number }): Fault {
  let before: number | null = null;
  return {
    name: 'heater-chiller-fighting',
    does: `${params.heaterId} is set ${params.aboveK} K above ${params.chillerId}: they heat and cool at once`,
    params,
    apply: ({ world }) => {
      const { thermostat } = world.heater(params.heaterId);
      before = thermostat.setpointC;
      thermostat.setpointC = world.chiller(params.chillerId).thermostat.setpointC + params.aboveK;
    },
    undo: ({ world }) => {
      if (before !== null) world.heater(params.heaterId).thermostat.setpointC = before;
    },
  };
}

export default {
  name: 'heater-chiller-fighting',
  gradual: false,
  watchMs: 36 * HOUR,
  season: 'any',
  plan: (target, chance) => {
    const heater = target.metered('heater');
    const chiller = target.metered('chiller');
    return heater === null || chiller === null ? null : heaterChillerFighting({ heaterId: heater.id, chillerId: chiller.id, aboveK: readable(chance.between(0.2, 0.7)) });
  },
} satisfies FaultKind;
