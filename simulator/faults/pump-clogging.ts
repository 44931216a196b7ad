import { DAY } from '../../src/domain/duration.ts';
import type { Fault, FaultKind } from './fault.ts';
import { readable } from './target.ts';

/** A pump clogs slowly (growth in the intake, a pad that was not rinsed): less flow every day, and with it less draw. Repaired by cleaning it. */
export function pumpClogging(params: { readonly pumpId: string; readonly finalClog: number; readonly days: number }): Fault {
  let sinceMs = 0;
  return {
    name: 'pump-clogging',
    does: `${params.pumpId} clogs: within ${params.days} days it loses ${Math.round(100 * params.finalClog)} % of its flow`,
    params,
    apply: (_stage, atMs) => {
      sinceMs = atMs;
    },
    progress: ({ world }, nowMs) => {
      world.motor(params.pumpId).clog = params.finalClog * Math.min(1, (nowMs - sinceMs) / DAY / params.days);
    },
    undo: ({ world }) => {
      world.motor(params.pumpId).clog = 0;
    },
  };
}

export default {
  name: 'pump-clogging',
  gradual: true,
  watchMs: 14 * DAY,
  season: 'any',
  plan: (target, chance) => {
    const pump = target.metered('return-pump');
    return pump === null ? null : pumpClogging({ pumpId: pump.id, finalClog: readable(chance.between(0.5, 0.8)), days: readable(chance.between(3, 9)) });
  },
} satisfies FaultKind;
