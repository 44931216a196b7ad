/** The cost of judging: all rule kinds on a tank of ten points, per reading, without the store. */
import { loadFormats } from '../../adapters/load.ts';
import { readFleet } from '../../src/config/fleet-file.ts';
import { BatchBuilder } from '../../src/engine/batch.ts';
import { Watch } from '../../src/engine/watch.ts';
import { compileRules } from '../../src/rules/compile.ts';
import { loadRuleKinds } from '../../src/rules/load.ts';
import type { LiveState } from '../../src/store/contract.ts';
import type { Bench } from './main.ts';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';

const readings = 400_000;
const nothing: LiveState = { ruleStates: [], pointStates: [], statuses: [], openAlarms: [], latest: new Map(), lastStampMs: new Map(), nextAlarmId: 1, clocks: new Map(), calibrations: [], outages: [], aliveMs: null };

export const rules: Bench = {
  name: 'rules',
  settings: { readings, fleet: 'simulator/fleet.yaml' },
  async run() {
    const file = join(import.meta.dirname, '../../simulator/fleet.yaml');
    const kinds = await loadRuleKinds();
    const read = readFleet(readFileSync(file, 'utf8'), file, { kinds, formats: await loadFormats(), broker: 'embedded' });
    if ('mistakes' in read) throw new Error(JSON.stringify(read.mistakes));
    const { fleet } = read;
    const compiled = compileRules(fleet, kinds);
    const series = new Map(fleet.points.map((point, i) => [point.id, i + 1]));
    const startMs = Date.now();
    const drive = (withRules: boolean): number => {
      const watch = new Watch(fleet, withRules ? compiled : [], series, nothing);
      const into = new BatchBuilder();
      watch.start(nothing, startMs, into);
      const began = performance.now();
      for (let i = 0; i < readings; i += 1) {
        const point = fleet.points[i % fleet.points.length];
        if (point === undefined) throw new Error('a fleet without points');
        const atMs = startMs + 10_000 * Math.floor(i / fleet.points.length) + i % fleet.points.length;
        const value = point.kind === 'switch' ? 1 : point.kind === 'temperature' ? (point.unit === '°F' ? 78 : 25.6) : 30 + (i % 13);
        watch.advance(atMs, into);
        watch.sample({ pointId: point.id, atMs, value, unit: null }, atMs, into);
        into.readings.length = 0;
      }
      return ((performance.now() - began) * 1000) / readings;
    };
    drive(true);
    drive(false);
    const bare = drive(false);
    const judged = drive(true);
    return [
      { key: 'ruleMicrosPerReading', value: judged - bare, says: `µs for all rules of a reading (${compiled.length} rules on ${fleet.points.length} points), beyond intake alone (${bare.toFixed(2)} µs)` },
      { key: 'judgedVsIntake', value: judged / bare, says: 'times the cost of intake alone' },
    ];
  },
};
