import { DAY } from '../../src/domain/duration.ts';
import type { Fault, FaultKind } from './fault.ts';
import { readable } from './target.ts';

/** A skimmer foams over and carries water and salt into its waste container and on into the drain. Repaired by turning it down. */
export function skimmerOverflow(params: { readonly skimmerId: string; readonly litresPerHour: number }): Fault {
  return {
    name: 'skimmer-overflow',
    does: `${params.skimmerId} foams over: ${params.litresPerHour} L of salt water an hour go down the drain`,
    params,
    apply: ({ world }) => {
      world.tankOf(params.skimmerId).skimmerOverflow = { kgPerS: params.litresPerHour / 3600, ontoPad: false };
    },
    undo: ({ world }) => {
      world.tankOf(params.skimmerId).skimmerOverflow = null;
    },
  };
}

export default {
  name: 'skimmer-overflow',
  gradual: true,
  watchMs: 3 * DAY,
  season: 'any',
  plan: (target, chance) => {
    const skimmer = target.piece('skimmer');
    return skimmer === null ? null : skimmerOverflow({ skimmerId: skimmer.id, litresPerHour: readable(chance.between(0.004, 0.01) * target.litres) });
  },
} satisfies FaultKind;
