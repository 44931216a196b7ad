import { HOUR } from '../../src/domain/duration.ts';
import type { Fault, FaultKind } from './fault.ts';
import { readable } from './target.ts';

/** Somebody has poured too much into the sump: it stands close under its rim, and what drains down at the next stop will run over. Repaired with a bucket. */
export function sumpOverfilled(params: { readonly tankId: string; readonly share: number }): Fault {
  let pouredKg = 0;
  return {
    name: 'sump-overfilled',
    does: `somebody fills the sump of ${params.tankId} to ${Math.round(100 * params.share)} % of what it holds`,
    params,
    apply: ({ world }) => {
      const tank = world.tank(params.tankId);
      pouredKg = Math.max(0, tank.design.sumpHoldsLitres * params.share - tank.sump.litres);
      tank.pourIn(pouredKg, tank.site.roomC, tank.design.salinity);
    },
    undo: ({ world }) => {
      world.tank(params.tankId).takeOut(pouredKg, 'sump');
    },
  };
}

export default {
  name: 'sump-overfilled',
  gradual: false,
  watchMs: 12 * HOUR,
  season: 'any',
  plan: (target, chance) => {
    if (target.point('level', 'sump') === null || !target.hasSump) return null;
    return sumpOverfilled({ tankId: target.tank.id, share: readable(chance.between(0.97, 1)) });
  },
} satisfies FaultKind;
