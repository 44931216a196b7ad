/** Commits and seals in turn, telling each commit on standard output once it is done; goes on where the last run ended. */
import { writeSync } from 'node:fs';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { addReadings } from './examples.ts';
import { sealBatch } from './seal-batch.ts';

const [, , file = ''] = process.argv;
const store = await openSqliteStore(file);
const [series = Number.NaN] = (await store.seriesFor(['crash/point'])).values();
let next = ((await store.load()).aliveMs ?? -1) + 1;
for (;;) {
  const { batch, history, nowMs } = sealBatch(series, next);
  await addReadings(store, history);
  await store.commit(batch);
  writeSync(1, `committed ${next}\n`);
  next += 1;
  await store.seal(nowMs);
}
