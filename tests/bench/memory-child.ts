/** The service with a large fleet, fed as its own adapters feed it; prints its memory. */
import { readFileSync } from 'node:fs';
import { startApp } from '../../src/app.ts';
import { giveBackMemory } from '../../src/config/give-back.ts';
import { systemClock } from '../../src/clock.ts';
import { readService } from '../../src/config/service-file.ts';
import { kinds } from '../../src/domain/kinds.ts';
import { makeLogger } from '../../src/log.ts';

const [config = '', secondsText = ''] = process.argv.slice(2);
const mb = (bytes: number): number => bytes / 2 ** 20;
const emptyMb = mb(process.memoryUsage().rss);
const read = readService(readFileSync(config, 'utf8'), config, process.env);
if ('mistakes' in read) throw new Error(JSON.stringify(read.mistakes));
const app = await startApp({ config: read.config, env: process.env, clock: systemClock, log: makeLogger('error', systemClock.now), onFatal: (error) => { throw error; } });

giveBackMemory();
const usual: Partial<Record<string, number>> = { temperature: 25.4, conductivity: 53, level: 210, acidity: 8.1, power: 40, energy: 120, flow: 2000 };
const { points } = app.desk.inForce.fleet;
/** The first round of readings is still part of the start: what was given back is given to the system only by and by. */
const settledMs = 10_000;
const perTick = 200;
const tickMs = (perTick * 10_000) / points.length;
const beganMs = systemClock.now();
const endMs = beganMs + Number(secondsText) * 1000;
let rssMb = 0;
let count = 0;
for (let nowMs = systemClock.now(); nowMs < endMs; nowMs = systemClock.now()) {
  const samples = Array.from({ length: perTick }, (_, i) => points[(count + i) % points.length]).flatMap((point, i) =>
    point === undefined ? [] : [{ pointId: point.id, atMs: nowMs, value: Number(((usual[point.kind] ?? 1) * (1 + 0.001 * Math.sin(count + i))).toFixed(kinds[point.kind].decimals)), unit: null }]);
  count += samples.length;
  await new Promise<void>((resolve) => {
    if (!app.engine.deliver({ arrivedMs: nowMs, samples, refusals: [], committed: resolve })) throw new Error('the queue is full at the pace of life');
  });
  if (nowMs - beganMs >= settledMs) rssMb = Math.max(rssMb, mb(process.memoryUsage().rss));
  await systemClock.sleep(Math.max(0, tickMs - (systemClock.now() - nowMs)));
}
giveBackMemory();
const heapMb = mb(process.memoryUsage().heapUsed);
await app.stop();
console.log(JSON.stringify({ rssMb, startMb: mb(process.resourceUsage().maxRSS * 1024), heapMb, emptyMb, readings: count }));
