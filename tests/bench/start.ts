/**
 * From the start of the process to its first page and to the acknowledgement of a first reading (which is judged and committed by then), with a year
 * of history of fifty tanks in the store; beside the same service with an empty store.
 */
import { join } from 'node:path';
import { connectAsync } from 'mqtt';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { freePort } from '../adapters/mosquitto.ts';
import { isUp, type ServiceFiles, startService, writeFiles } from '../integration/service.ts';
import { addReadings } from '../store/examples.ts';
import { benchFleetOf } from './bench-site.ts';
import type { Bench } from './main.ts';

const tanks = 50;
const pointsEach = 20;
const days = 365;
const everyMinutes = 30;
const rounds = 3;
const password = 'bench-password';

function fleetText(): string {
  const points = (tank: number): string => Array.from({ length: pointsEach }, (_, i) => `{ id: p${i}, kind: temperature, every: 30m, source: { topic: s/t${tank}/p${i}, format: number } }`).join(', ');
  return benchFleetOf(Array.from({ length: tanks }, (_, i) => `\n          - { id: t${i}, name: Tank ${i} (invented), water: reef, display: 500 L, points: [${points(i)}] }`).join(''));
}

async function filesOf(port: number): Promise<ServiceFiles> {
  return writeFiles({ mqtt: `{ embedded: { host: 127.0.0.1, port: ${port} } }`, mailPort: null, fleet: fleetText(), env: { TANKBELL_BENCH: password } });
}

/** A year of slow sine waves, in tenths of a degree. @returns how many readings. */
async function fillYear(files: ServiceFiles): Promise<number> {
  const store = await openSqliteStore(join(files.dataDir, 'tankbell.sqlite'));
  const series = await store.seriesFor(Array.from({ length: tanks * pointsEach }, (_, i) => `t${Math.floor(i / pointsEach)}/p${i % pointsEach}`));
  const endMs = Math.floor(Date.now() / 86_400_000) * 86_400_000;
  // Days count as settled by what the store last saw of the time.
  await store.commit({ readings: [], ruleStates: [], statuses: [], alarms: [], journal: [], pages: [], refusals: [], aliveMs: Date.now() });
  let count = 0;
  for (const id of series.values()) {
    const readings = Array.from({ length: (days * 24 * 60) / everyMinutes }, (_, i) => ({ series: id, atMs: endMs - days * 86_400_000 + i * everyMinutes * 60_000, value: Math.round(250 + 8 * Math.sin(i / 7 + id)) / 10, quality: 0 }));
    count += await addReadings(store, readings);
  }
  await store.close();
  return count;
}

async function startMs(files: ServiceFiles, port: number): Promise<number> {
  const began = performance.now();
  const running = startService(files);
  try {
    await isUp(files, running);
    const client = await connectAsync(`mqtt://127.0.0.1:${port}`, { username: 's', password, reconnectPeriod: 20 });
    await client.publishAsync('s/t0/p0', '25.4', { qos: 1 });
    const tookMs = performance.now() - began;
    await client.endAsync();
    return tookMs;
  } finally {
    await running.stop();
  }
}

const median = (values: readonly number[]): number => [...values].sort((a, b) => a - b)[values.length >> 1] ?? Number.NaN;

export const start: Bench = {
  name: 'start',
  settings: { tanks, points: tanks * pointsEach, days, everyMinutes, rounds },
  async run() {
    const [fullPort, emptyPort] = [await freePort(), await freePort()];
    const [full, empty] = [await filesOf(fullPort), await filesOf(emptyPort)];
    try {
      const readings = await fillYear(full);
      const [ours, bare]: [number[], number[]] = [[], []];
      for (let round = 0; round < rounds; round += 1) {
        ours.push(await startMs(full, fullPort));
        bare.push(await startMs(empty, emptyPort));
      }
      return [
        { key: 'startMs50TankYears', value: median(ours), says: `ms to the first page and the first judged reading, over ${readings} readings; rounds ${ours.map((ms) => ms.toFixed(0)).join(' ')}` },
        { key: 'startVsEmpty', value: median(ours) / median(bare), says: `times the start with an empty store (${median(bare).toFixed(0)} ms), most of which is loading the program` },
      ];
    } finally {
      full.remove();
      empty.remove();
    }
  },
};
