import { HOUR, MINUTE } from '../../src/domain/duration.ts';
import type { Fault, FaultKind } from './fault.ts';

/** The clock of a gateway is wrong (a time zone, a flat battery): what it sends carries times that are off. Repaired by setting it. */
export function wrongClock(params: { readonly siteId: string; readonly byMinutes: number }): Fault {
  return {
    name: 'wrong-clock',
    does: `the clock of the gateway at ${params.siteId} is ${Math.abs(params.byMinutes)} min ${params.byMinutes < 0 ? 'behind' : 'ahead'}`,
    params,
    apply: ({ world }) => {
      world.site(params.siteId).clockErrorMs = Math.round(params.byMinutes * MINUTE);
    },
    undo: ({ world }) => {
      world.site(params.siteId).clockErrorMs = 0;
    },
  };
}

export default {
  name: 'wrong-clock',
  gradual: false,
  watchMs: 12 * HOUR,
  season: 'any',
  plan: ({ tank }, chance) => wrongClock({ siteId: tank.siteId, byMinutes: Math.round(chance.oneOf([-60, 60, chance.between(-300, -20), chance.between(20, 300)]) ?? 60) }),
} satisfies FaultKind;
