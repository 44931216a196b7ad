/**
 * The whole path (decode → validate → rules → commit → acknowledge) at QoS 1 from a real mosquitto, beside the floor in the same run: a bare
 * subscriber that parses and acknowledges. Both drain a session that holds all messages, so that no publisher takes part; they take turns, and
 * the figure is the median of the ratios.
 *
 * Through the embedded broker there is nothing to drain: publishers run beside it. Its floor is the same bare subscriber behind mosquitto with the same
 * publishers running beside it; the ratio to the floor that drains is told as well.
 */
import { spawn } from 'node:child_process';
import { join } from 'node:path';
import { connectAsync } from 'mqtt';
import { freePort, startMosquitto } from '../adapters/mosquitto.ts';
import { writeFiles } from '../integration/service.ts';
import { benchFleet, benchMessage, benchPoints } from './bench-site.ts';
import type { Bench } from './main.ts';

const messages = 400_000;
const rounds = 3;
const inflight = 1000;

async function fill(port: number, clientId: string): Promise<void> {
  const session = await connectAsync(`mqtt://127.0.0.1:${port}`, { clientId, clean: false });
  await session.subscribeAsync('s/#', { qos: 1 });
  await session.endAsync();
  const publisher = await connectAsync(`mqtt://127.0.0.1:${port}`, { clientId: `filler-${clientId}` });
  const firstMs = Date.now() - 60_000;
  let waiting: Promise<unknown>[] = [];
  for (let i = 0; i < messages; i += 1) {
    const { topic, payload } = benchMessage(i, firstMs);
    waiting.push(publisher.publishAsync(topic, payload, { qos: 1 }));
    if (waiting.length >= 1000) {
      await Promise.all(waiting);
      waiting = [];
    }
  }
  await Promise.all(waiting);
  await publisher.endAsync();
}

/** Runs a subscriber in a process of its own; it prints its rate and ends. */
function drain(script: string, args: readonly string[], whenReady: () => void = () => undefined): Promise<number> {
  return new Promise((resolve, reject) => {
    const child = spawn(process.execPath, ['--import', 'tsx', join(import.meta.dirname, script), ...args], { stdio: ['ignore', 'pipe', 'inherit'], env: { ...process.env, TANKBELL_BENCH: 'bench-password' } });
    let said = '';
    child.stdout.on('data', (chunk: Buffer) => {
      const wasReady = said.includes('ready');
      said += chunk.toString();
      if (!wasReady && said.includes('ready')) whenReady();
    });
    child.once('exit', (code) => {
      const rate = /rate (\d+(\.\d+)?)/.exec(said)?.[1];
      if (code === 0 && rate !== undefined) resolve(Number(rate));
      else reject(new Error(`${script} ended with ${code}: ${said}`));
    });
  });
}

/** Raw publishers, which push as fast as they are acknowledged. */
function publishTo(port: number, password: string): void {
  spawn(process.execPath, ['--import', 'tsx', join(import.meta.dirname, 'raw-publisher.ts'), String(port), String(messages), password], { stdio: 'inherit' });
}

/** The same through the embedded broker. */
async function embedded(): Promise<number> {
  const port = await freePort();
  const password = 'bench-password';
  const files = await writeFiles({ mqtt: `{ embedded: { host: 127.0.0.1, port: ${port} } }`, mailPort: null, fleet: benchFleet() });
  try {
    return await drain('tankbell-subscriber.ts', [files.config, String(messages), password], () => publishTo(port, password));
  } finally {
    files.remove();
  }
}

const median = (values: readonly number[]): number => [...values].sort((a, b) => a - b)[Math.floor(values.length / 2)] ?? Number.NaN;

export const ingest: Bench = {
  name: 'ingest',
  settings: { messages, rounds, points: benchPoints, qos: 1, max_inflight_messages: inflight, synchronous: 'FULL' },
  async run() {
    const broker = await startMosquitto(['max_queued_messages 0', `max_inflight_messages ${inflight}`, 'set_tcp_nodelay true']);
    const floors: number[] = [];
    const ours: number[] = [];
    const embeddeds: number[] = [];
    const liveFloors: number[] = [];
    try {
      for (let round = 0; round < rounds; round += 1) {
        const floorId = `floor-${round}`;
        await fill(broker.port, floorId);
        floors.push(await drain('floor-subscriber.ts', [String(broker.port), floorId, String(messages)]));
        const ourId = `tankbell-bench-${round}`;
        const files = await writeFiles({ mqtt: `{ external: { url: "mqtt://127.0.0.1:${broker.port}", clientId: ${ourId}, protocol: "3.1.1" } }`, mailPort: null, fleet: benchFleet() });
        try {
          await fill(broker.port, ourId);
          ours.push(await drain('tankbell-subscriber.ts', [files.config, String(messages)]));
        } finally {
          files.remove();
        }
        liveFloors.push(await drain('floor-subscriber.ts', [String(broker.port), `live-${round}`, String(messages), 'live'], () => publishTo(broker.port, 'unused')));
        embeddeds.push(await embedded());
      }
    } finally {
      await broker.stop();
    }
    const over = (rates: readonly number[], bases: readonly number[]): number[] => rates.map((rate, i) => rate / (bases[i] ?? Number.NaN));
    const ratios = over(ours, floors);
    const embeddedRatios = over(embeddeds, liveFloors);
    const embeddedVsDrained = over(embeddeds, floors);
    const shown = (all: readonly number[]): string => all.map((ratio) => ratio.toFixed(2)).join(' ');
    return [
      { key: 'ingestVsFloor', value: median(ratios), says: `of the floor (bare parse-and-acknowledge subscriber), all rules on; rounds ${shown(ratios)}; floor ${Math.round(median(floors))}/s, here ${Math.round(median(ours))}/s on this machine` },
      { key: 'ingestEmbeddedVsFloor', value: median(embeddedRatios), says: `of the floor behind mosquitto with the same publishers beside it (${Math.round(median(liveFloors))}/s), through the embedded broker; rounds ${shown(embeddedRatios)}; ${Math.round(median(embeddeds))}/s on this machine` },
      { key: 'ingestEmbeddedVsDrained', value: median(embeddedVsDrained), says: `of the floor that drains, with no publisher beside it; rounds ${shown(embeddedVsDrained)}` },
    ];
  },
};
