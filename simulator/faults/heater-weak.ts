import { HOUR } from '../../src/domain/duration.ts';
import type { Fault, FaultKind } from './fault.ts';
import { readable } from './target.ts';

/** One element of a heater has broken, or a smaller one was put in: it draws and heats less than its nameplate says. Repaired by a new heater. */
export function heaterWeak(params: { readonly heaterId: string; readonly share: number }): Fault {
  return {
    name: 'heater-weak',
    does: `${params.heaterId} draws and heats only ${Math.round(100 * params.share)} % of its nameplate`,
    params,
    apply: ({ world }) => {
      world.heater(params.heaterId).elementShare = params.share;
    },
    undo: ({ world }) => {
      world.heater(params.heaterId).elementShare = 1;
    },
  };
}

export default {
  name: 'heater-weak',
  gradual: false,
  watchMs: 36 * HOUR,
  season: 'winter',
  plan: (target, chance) => {
    const heater = target.metered('heater');
    return heater === null ? null : heaterWeak({ heaterId: heater.id, share: readable(chance.between(0.4, 0.65)) });
  },
} satisfies FaultKind;
