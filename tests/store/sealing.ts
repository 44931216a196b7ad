import { DAY } from '../../src/domain/duration.ts';
import type { Store } from '../../src/store/contract.ts';
import { T0 } from './examples.ts';

/** By then every example has been settled for long. */
export const LONG_AFTER = T0 + 10_000 * DAY;

export async function sealAll(store: Store, nowMs = LONG_AFTER): Promise<number> {
  let readings = 0;
  for (;;) {
    const step = await store.seal(nowMs);
    readings += step.readings;
    if (!step.more) return readings;
  }
}

/** The same store, which seals all it has after each write that is chosen (counted from 0). */
export function sealing(store: Store, chosen: (write: number) => boolean): Store {
  let writes = 0;
  const after = async <T>(work: Promise<T>): Promise<T> => {
    const result = await work;
    if (chosen(writes++)) await sealAll(store);
    return result;
  };
  return {
    ...store, commit: (batch) => after(store.commit(batch)), addHistory: (history) => after(store.addHistory(history)),
  };
}
