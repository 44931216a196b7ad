/** The whole service on the same messages: from the first one that arrives to the commit of the last. */
import { readFileSync } from 'node:fs';
import { startApp } from '../../src/app.ts';
import { systemClock } from '../../src/clock.ts';
import { readService } from '../../src/config/service-file.ts';
import { makeLogger } from '../../src/log.ts';

const [config = '', wanted = ''] = process.argv.slice(2);
const read = readService(readFileSync(config, 'utf8'), config, process.env);
if ('mistakes' in read) throw new Error(JSON.stringify(read.mistakes));
const app = await startApp({ config: read.config, env: process.env, clock: systemClock, log: makeLogger('error', systemClock.now), onFatal: (error) => { throw error; } });

console.log('ready');
const { view } = app.engine;
let startedMs = 0;
while (view.committedReadings < Number(wanted)) {
  await new Promise((resolve) => setTimeout(resolve, 1));
  if (startedMs === 0 && view.committedReadings > 0) startedMs = performance.now();
}
const seconds = (performance.now() - startedMs) / 1000;
const counted = view.committedReadings;
await app.stop();
console.log(`rate ${(counted / seconds).toFixed(1)}`);
