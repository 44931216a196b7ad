import { HOUR } from '../../src/domain/duration.ts';
import type { Fault, FaultKind } from './fault.ts';
import { readable } from './target.ts';

/** The supply is far too low (a loose neutral, an overloaded feeder): heaters are weak, motors run hot. Repaired by an electrician. */
export function voltageSag(params: { readonly siteId: string; readonly share: number }): Fault {
  return {
    name: 'voltage-sag',
    does: `the mains at ${params.siteId} are ${Math.round(100 * params.share)} % too low`,
    params,
    apply: ({ world }) => {
      world.site(params.siteId).sagShare = params.share;
    },
    undo: ({ world }) => {
      world.site(params.siteId).sagShare = 0;
    },
  };
}

export default {
  name: 'voltage-sag',
  gradual: false,
  watchMs: 6 * HOUR,
  season: 'any',
  plan: (target, chance) => (target.points.some(({ kind }) => kind === 'voltage') ? voltageSag({ siteId: target.tank.siteId, share: readable(chance.between(0.14, 0.22)) }) : null),
} satisfies FaultKind;
