/** Memory of the whole service with a thousand tanks live: twenty points each, every rule kind on, readings arriving every ten seconds. */
import { spawn } from 'node:child_process';
import { join } from 'node:path';
import { freePort } from '../adapters/mosquitto.ts';
import { writeFiles } from '../integration/service.ts';
import { benchFleetOf } from './bench-site.ts';
import type { Bench } from './main.ts';

const tanks = 1000;
const seconds = 60;

function fleetText(): string {
  const point = (tank: number, name: string, rest: string): string => `\n              - { id: ${name}, ${rest}, every: 10s, source: { topic: s/t${tank}/${name}, format: number } }`;
  const tank = (i: number): string => `
          - id: t${i}
            name: Tank ${i} (invented)
            water: reef
            display: 500 L
            sump: 120 L
            equipment:
              - { id: heater-1, kind: heater, nameplate: 300 W, setpoint: 25.5 °C }
              - { id: heater-2, kind: heater, nameplate: 300 W, setpoint: 25.4 °C }
              - { id: chiller, kind: chiller, nameplate: 350 W, setpoint: 26.5 °C }
              - { id: pump, kind: return-pump, nameplate: 60 W }
              - { id: stream, kind: circulation-pump, nameplate: 30 W }
              - { id: skimmer, kind: skimmer, nameplate: 30 W }
              - { id: light, kind: light, nameplate: 200 W }
              - { id: top-off-pump, kind: top-off-pump, nameplate: 10 W }
              - { id: reservoir, kind: top-off-reservoir, capacity: 60 L, full: 400 mm }
            points:${[
              point(i, 'display-temperature', 'kind: temperature'), point(i, 'sump-temperature', 'kind: temperature, place: sump'), point(i, 'conductivity', 'kind: conductivity, place: sump'),
              point(i, 'sump-level', 'kind: level, place: sump'), point(i, 'reservoir-level', 'kind: level, equipment: reservoir'), point(i, 'ph', 'kind: acidity'),
              ...['heater-1', 'heater-2', 'chiller', 'pump', 'stream', 'skimmer', 'light', 'top-off-pump'].map((name) => point(i, `${name}-power`, `kind: power, equipment: ${name}`)),
              ...['heater-1', 'chiller', 'pump', 'light'].map((name) => point(i, `${name}-energy`, `kind: energy, equipment: ${name}`)),
              point(i, 'flow', 'kind: flow'), point(i, 'room', 'kind: temperature, place: room'),
            ].join('')}`;
  return benchFleetOf(Array.from({ length: tanks }, (_, i) => tank(i)).join(''));
}

export const memory: Bench = {
  name: 'memory',
  settings: { tanks, points: tanks * 20, seconds, everySeconds: 10 },
  async run() {
    const files = await writeFiles({ mqtt: `{ embedded: { host: 127.0.0.1, port: ${await freePort()} } }`, mailPort: null, fleet: fleetText() });
    try {
      const said = await new Promise<string>((resolve, reject) => {
        const child = spawn(process.execPath, ['--import', 'tsx', join(import.meta.dirname, 'memory-child.ts'), files.config, String(seconds)], { stdio: ['ignore', 'pipe', 'inherit'], env: { ...process.env, TANKBELL_BENCH: 'bench-password' } });
        let text = '';
        child.stdout.on('data', (chunk: Buffer) => (text += chunk.toString()));
        child.once('exit', (code) => (code === 0 ? resolve(text) : reject(new Error(`the service under load ended with ${code}: ${text}`))));
      });
      const figures: { rssMb: number; startMb: number; heapMb: number; emptyMb: number; readings: number } = JSON.parse(said);
      return [{ key: 'rssMb1000Tanks', value: figures.rssMb, says: `MB resident at its highest from ten seconds after the start on, fed at the pace of life: ${figures.readings} readings (JavaScript heap in use ${figures.heapMb.toFixed(0)} MB; the start itself ${figures.startMb.toFixed(0)} MB at its highest, ${figures.emptyMb.toFixed(0)} MB before the fleet was read)` }];
    } finally {
      files.remove();
    }
  },
};
