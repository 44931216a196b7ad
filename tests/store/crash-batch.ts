import type { Batch } from '../../src/store/contract.ts';
import { T0, batch, entry, page, reading } from './examples.ts';

export const READINGS_PER_BATCH = 20;

/** Batch number `n`: recognisable in every table it touches. */
export function crashBatch(series: number, n: number): Batch {
  return batch({
    readings: Array.from({ length: READINGS_PER_BATCH }, (_, i) => reading(series, T0 + n * READINGS_PER_BATCH + i, n + i / 100)),
    ruleStates: [{ ruleId: 'crash', state: { n }, wakeAtMs: null }],
    journal: [entry({ text: `batch ${n}` })],
    pages: [page({ id: `page ${n}` })],
    aliveMs: n,
  });
}
