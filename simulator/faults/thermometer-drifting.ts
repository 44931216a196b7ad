import type { Fault } from './fault.ts';

/** A sensor creeps away from the truth, in the canonical unit of its kind per day; the water is well. Repaired by a new sensor. */
export function thermometerDrifting(params: { readonly pointId: string; readonly perDay: number }): Fault {
  const instrumentOf = ({ instruments }: Parameters<Fault['apply']>[0]) => {
    const instrument = instruments.get(params.pointId);
    if (instrument === undefined) throw new Error(`no point "${params.pointId}" in the simulated fleet`);
    return instrument;
  };
  return {
    name: 'thermometer-drifting',
    does: `${params.pointId} drifts by ${params.perDay} a day; the water does not`,
    params,
    apply: (stage, atMs) => {
      instrumentOf(stage).drift = { sinceMs: atMs, perDay: params.perDay };
    },
    undo: (stage) => {
      instrumentOf(stage).drift = null;
    },
  };
}
