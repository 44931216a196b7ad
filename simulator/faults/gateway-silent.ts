import { HOUR } from '../../src/domain/duration.ts';
import type { Fault, FaultKind } from './fault.ts';

/** A site's gateway sends nothing (its network is down); what it would have sent is lost. The tanks do not notice. */
export function gatewaySilent(params: { readonly siteId: string }): Fault {
  return {
    name: 'gateway-silent',
    does: `nothing arrives from ${params.siteId}; the tanks themselves are well`,
    params,
    apply: ({ world }) => {
      world.site(params.siteId).gatewaySilent = true;
    },
    undo: ({ world }) => {
      world.site(params.siteId).gatewaySilent = false;
    },
  };
}

export default {
  name: 'gateway-silent',
  gradual: false,
  watchMs: 6 * HOUR,
  season: 'any',
  plan: ({ tank }) => gatewaySilent({ siteId: tank.siteId }),
} satisfies FaultKind;
