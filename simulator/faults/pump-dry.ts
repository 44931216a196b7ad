import { HOUR } from '../../src/domain/duration.ts';
import type { Fault, FaultKind } from './fault.ts';

/** A return pump turns in air (an air lock, an intake that hangs free): it moves nothing and draws less. Repaired by bleeding it. */
export function pumpDry(params: { readonly pumpId: string }): Fault {
  return {
    name: 'pump-dry',
    does: `${params.pumpId} turns in air: no flow, less draw`,
    params,
    apply: ({ world }) => {
      world.motor(params.pumpId).airlocked = true;
    },
    undo: ({ world }) => {
      world.motor(params.pumpId).airlocked = false;
    },
  };
}

export default {
  name: 'pump-dry',
  gradual: false,
  watchMs: 12 * HOUR,
  season: 'any',
  plan: (target) => {
    const pump = target.metered('return-pump');
    return pump === null ? null : pumpDry({ pumpId: pump.id });
  },
} satisfies FaultKind;
