import { DAY, HOUR } from '../../src/domain/duration.ts';
import type { Reading } from '../../src/domain/reading.ts';
import type { Batch } from '../../src/store/contract.ts';
import { T0, batch, reading } from './examples.ts';

/**
 * Write number `n`: three hours of live readings, some late ones for the day before yesterday, and as history some of a week ago. `aliveMs` of the
 * batch is `n`, by which the next run knows where to go on; so nothing of the history is settled in its eyes and sealing is what moves it.
 */
export function sealBatch(series: number, n: number): { readonly batch: Batch; readonly history: readonly Reading[]; readonly nowMs: number } {
  const nowMs = T0 + n * 3 * HOUR;
  const of = (startMs: number, everyMs: number, count: number, offset: number): Reading[] =>
    Array.from({ length: count }, (_, i) => reading(series, startMs + i * everyMs + offset, n + i / 100, i % 7 === 0 ? 2 : 0));
  return {
    batch: batch({ readings: [...of(nowMs, 60_000, 180, 0), ...of(nowMs - 2 * DAY, 600_000, 18, 1)], aliveMs: n }),
    history: of(nowMs - 7 * DAY, 300_000, 36, 2),
    nowMs: nowMs + 3 * HOUR,
  };
}
