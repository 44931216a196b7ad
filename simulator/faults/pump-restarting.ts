import { HOUR, SECOND } from '../../src/domain/duration.ts';
import { randomSequence } from '../random.ts';
import type { Fault, FaultKind } from './fault.ts';
import { readable } from './target.ts';

/** A pump stops and starts again and again (its thermal cut-out, a failing controller). Repaired by a new pump. */
export function pumpRestarting(params: { readonly pumpId: string; readonly onS: number; readonly offS: number; readonly seed: number }): Fault {
  const random = randomSequence(params.seed);
  let turnsMs = 0;
  return {
    name: 'pump-restarting',
    does: `${params.pumpId} runs for about ${params.onS} s and rests for about ${params.offS} s, again and again`,
    params,
    apply: (_stage, atMs) => {
      turnsMs = atMs;
    },
    progress: ({ world }, nowMs) => {
      if (nowMs < turnsMs) return;
      const pump = world.motor(params.pumpId);
      pump.stopped = !pump.stopped;
      turnsMs = nowMs + (pump.stopped ? params.offS : params.onS) * (0.6 + 0.8 * random.uniform()) * SECOND;
    },
    undo: ({ world }) => {
      world.motor(params.pumpId).stopped = false;
    },
  };
}

export default {
  name: 'pump-restarting',
  gradual: false,
  watchMs: 6 * HOUR,
  season: 'any',
  plan: (target, chance) => {
    const pump = target.metered('return-pump') ?? target.metered('circulation-pump');
    return pump === null ? null : pumpRestarting({ pumpId: pump.id, onS: readable(chance.between(90, 240)), offS: readable(chance.between(60, 150)), seed: chance.seed });
  },
} satisfies FaultKind;
