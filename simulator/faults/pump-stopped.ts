import { HOUR } from '../../src/domain/duration.ts';
import type { Fault, FaultKind } from './fault.ts';

/** A pump stands still and draws nothing: its plug pulled, or its supply dead. For a return pump, the display drains to the weir. */
export function pumpStopped(params: { readonly pumpId: string }): Fault {
  return {
    name: 'pump-stopped',
    does: `${params.pumpId} stops and draws nothing`,
    params,
    apply: ({ world }) => {
      world.motor(params.pumpId).stopped = true;
    },
    undo: ({ world }) => {
      world.motor(params.pumpId).stopped = false;
    },
  };
}

export default {
  name: 'pump-stopped',
  gradual: false,
  watchMs: 6 * HOUR,
  season: 'any',
  plan: (target) => {
    const pump = target.metered('return-pump') ?? target.metered('circulation-pump');
    return pump === null ? null : pumpStopped({ pumpId: pump.id });
  },
} satisfies FaultKind;
