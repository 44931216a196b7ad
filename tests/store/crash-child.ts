/** Commits batch after batch into the file named, telling each one on standard output once it is committed; goes on where the last run ended. */
import { writeSync } from 'node:fs';
import { StoreError } from '../../src/store/contract.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { crashBatch } from './crash-batch.ts';

const [, , file = ''] = process.argv;
const store = await openSqliteStore(file);
const [series = Number.NaN] = (await store.seriesFor(['crash/point'])).values();
let next = ((await store.load()).aliveMs ?? -1) + 1;
try {
  for (;;) {
    await store.commit(crashBatch(series, next));
    writeSync(1, `committed ${next}\n`);
    next += 1;
  }
} catch (error) {
  if (!(error instanceof StoreError)) throw error;
  writeSync(1, `failed ${error.permanent ? 'for good' : 'for now'}: ${error.message}\n`);
}
