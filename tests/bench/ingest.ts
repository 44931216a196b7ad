/**
 * The whole path (decode → validate → rules → commit → acknowledge) at QoS 1 from a real mosquitto, beside the floor in the same run: a bare
 * subscriber that parses and acknowledges. Each run drains a session that holds all messages, so that no publisher takes part; the two
 * take turns, and the figure is the median of the ratios.
 */
import { spawn } from 'node:child_process';
import { join } from 'node:path';
import { connectAsync } from 'mqtt';
import { startMosquitto } from '../adapters/mosquitto.ts';
import { writeFiles } from '../integration/service.ts';
import type { Bench } from './main.ts';

const tanks = 50;
const messages = 200_000;
const rounds = 3;
const inflight = 1000;

/** Four points a tank: what a small site has. Every rule kind that finds its points is on. */
function fleetText(): string {
  const tank = (i: number): string => `
          - id: t${i}
            name: Tank ${i} (invented)
            water: reef
            display: 500 L
            equipment:
              - { id: heater, kind: heater, nameplate: 300 W, setpoint: 25.5 °C }
              - { id: chiller, kind: chiller, nameplate: 350 W, setpoint: 26.5 °C }
              - { id: pump, kind: return-pump, nameplate: 60 W }
            points:
              - { id: temperature, kind: temperature, every: 1s, source: { topic: s/t${i}/temperature, format: json, value: /v, time: /t, timeFormat: ms } }
              - { id: heater-power, kind: power, equipment: heater, every: 1s, source: { topic: s/t${i}/heater, format: json, value: /v, time: /t, timeFormat: ms } }
              - { id: chiller-power, kind: power, equipment: chiller, every: 1s, source: { topic: s/t${i}/chiller, format: json, value: /v, time: /t, timeFormat: ms } }
              - { id: pump-power, kind: power, equipment: pump, every: 1s, source: { topic: s/t${i}/pump, format: json, value: /v, time: /t, timeFormat: ms } }`;
  return `clients:
  - id: c
    name: Client (invented)
    sites:
      - id: s
        name: Site (invented)
        timeZone: UTC
        tanks:${Array.from({ length: tanks }, (_, i) => tank(i)).join('')}
people: [{ id: ana, name: Ana Example (invented), email: ana@example.invalid, timeZone: UTC, day: "07:00-21:00" }]
onCall: { steps: [{ person: ana }] }
`;
}

const channels: readonly (readonly [string, (i: number) => number])[] = [
  ['temperature', (i) => 25.5 + 0.3 * Math.sin(i / 900)],
  ['heater', (i) => (Math.sin(i / 900) < 0 ? 296 : 0)],
  ['chiller', () => 0],
  ['pump', (i) => 58 + (i % 5) / 10],
];

async function fill(port: number, clientId: string): Promise<void> {
  const session = await connectAsync(`mqtt://127.0.0.1:${port}`, { clientId, clean: false });
  await session.subscribeAsync('s/#', { qos: 1 });
  await session.endAsync();
  const publisher = await connectAsync(`mqtt://127.0.0.1:${port}`, { clientId: `filler-${clientId}` });
  const firstMs = Date.now() - 60_000;
  let waiting: Promise<unknown>[] = [];
  for (let i = 0; i < messages; i += 1) {
    const tank = i % tanks;
    const [channel, value] = channels[Math.floor(i / tanks) % channels.length] ?? ['temperature', () => 25];
    waiting.push(publisher.publishAsync(`s/t${tank}/${channel}`, JSON.stringify({ t: firstMs + Math.floor(i / 5), v: Number(value(i).toFixed(2)) }), { qos: 1 }));
    if (waiting.length >= 1000) {
      await Promise.all(waiting);
      waiting = [];
    }
  }
  await Promise.all(waiting);
  await publisher.endAsync();
}

/** Runs a subscriber in a process of its own; it prints its rate and ends. */
function drain(script: string, args: readonly string[]): Promise<number> {
  return new Promise((resolve, reject) => {
    const child = spawn(process.execPath, ['--import', 'tsx', join(import.meta.dirname, script), ...args], { stdio: ['ignore', 'pipe', 'inherit'] });
    let said = '';
    child.stdout.on('data', (chunk: Buffer) => (said += chunk.toString()));
    child.once('exit', (code) => {
      const rate = /rate (\d+(\.\d+)?)/.exec(said)?.[1];
      if (code === 0 && rate !== undefined) resolve(Number(rate));
      else reject(new Error(`${script} ended with ${code}: ${said}`));
    });
  });
}

const median = (values: readonly number[]): number => [...values].sort((a, b) => a - b)[Math.floor(values.length / 2)] ?? Number.NaN;

export const ingest: Bench = {
  name: 'ingest',
  settings: { messages, rounds, points: tanks * channels.length, qos: 1, max_inflight_messages: inflight, synchronous: 'FULL' },
  async run() {
    const broker = await startMosquitto(['max_queued_messages 0', `max_inflight_messages ${inflight}`, 'set_tcp_nodelay true']);
    const floors: number[] = [];
    const ours: number[] = [];
    try {
      for (let round = 0; round < rounds; round += 1) {
        const floorId = `floor-${round}`;
        await fill(broker.port, floorId);
        floors.push(await drain('floor-subscriber.ts', [String(broker.port), floorId, String(messages)]));
        const ourId = `tankbell-bench-${round}`;
        const files = await writeFiles({ mqtt: `{ external: { url: "mqtt://127.0.0.1:${broker.port}", clientId: ${ourId}, protocol: "3.1.1" } }`, mailPort: null, fleet: fleetText() });
        try {
          await fill(broker.port, ourId);
          ours.push(await drain('tankbell-subscriber.ts', [files.config, String(messages)]));
        } finally {
          files.remove();
        }
      }
    } finally {
      await broker.stop();
    }
    const ratios = ours.map((rate, i) => rate / (floors[i] ?? Number.NaN));
    return [{ key: 'ingestVsFloor', value: median(ratios), says: `of the floor (bare parse-and-acknowledge subscriber), all rules on; rounds ${ratios.map((ratio) => ratio.toFixed(2)).join(' ')}; floor ${Math.round(median(floors))}/s, here ${Math.round(median(ours))}/s on this machine` }];
  },
};
