import { HOUR, MINUTE } from '../../src/domain/duration.ts';
import type { Fault, FaultKind } from './fault.ts';
import { STEP_MS } from '../world/world.ts';
import { readable } from './target.ts';

const LASTS_MS = 20 * MINUTE;

/** A water change went wrong: the new water was mixed far too weak or too strong. Within twenty minutes a part of the tank is exchanged. */
export function salinityStep(params: { readonly tankId: string; readonly share: number; readonly salinity: number }): Fault {
  let sinceMs = 0;
  let totalKg = 0;
  return {
    name: 'salinity-step',
    does: `${Math.round(100 * params.share)} % of ${params.tankId} are exchanged for water of ${params.salinity} g/kg`,
    params,
    apply: ({ world }, atMs) => {
      sinceMs = atMs;
      totalKg = world.tank(params.tankId).totalKg;
    },
    progress: ({ world }, nowMs) => {
      if (nowMs >= sinceMs + LASTS_MS) return;
      const tank = world.tank(params.tankId);
      const kg = tank.takeOut((totalKg * params.share * STEP_MS) / LASTS_MS, 'display');
      tank.pourIn(kg, tank.design.startC, params.salinity, 'display');
    },
    undo: () => undefined,
  };
}

export default {
  name: 'salinity-step',
  gradual: false,
  watchMs: 12 * HOUR,
  season: 'any',
  plan: (target, chance) => {
    if (!target.isSalt || target.inWater('conductivity') === null) return null;
    return salinityStep({ tankId: target.tank.id, share: readable(chance.between(0.2, 0.3)), salinity: readable(chance.oneOf([chance.between(15, 22), chance.between(45, 52)]) ?? 20) });
  },
} satisfies FaultKind;
