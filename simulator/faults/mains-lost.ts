import { HOUR } from '../../src/domain/duration.ts';
import type { Fault, FaultKind } from './fault.ts';

/** A site is without mains. Its gateway and meters live on a battery, so the readings go on: no volts, no watts, water cooling. */
export function mainsLost(params: { readonly siteId: string }): Fault {
  return {
    name: 'mains-lost',
    does: `${params.siteId} loses its mains; the gateway goes on from its battery`,
    params,
    apply: ({ world }) => {
      world.site(params.siteId).mainsLost = true;
    },
    undo: ({ world }) => {
      world.site(params.siteId).mainsLost = false;
    },
  };
}

export default {
  name: 'mains-lost',
  gradual: false,
  watchMs: 6 * HOUR,
  season: 'any',
  plan: ({ tank }) => mainsLost({ siteId: tank.siteId }),
} satisfies FaultKind;
