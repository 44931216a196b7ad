/**
 * `npm run bench [-- NAME] [-- --json]`: figures as ratios against a baseline measured in the same run. Prints a line per figure with the
 * settings it was taken at; with `--json` one JSON line of all figures comes last.
 */
import { csv } from './csv.ts';
import { ingest } from './ingest.ts';
import { memory } from './memory.ts';
import { rules } from './rules.ts';
import { start } from './start.ts';
import { store } from './store.ts';

export interface Figure {
  /** Key in the JSON line. */
  readonly key: string;
  readonly value: number;
  /** What it means, with the baseline. */
  readonly says: string;
}

export interface Bench {
  readonly name: string;
  readonly settings: Readonly<Record<string, string | number>>;
  run(): Promise<readonly Figure[]>;
}

const benches: readonly Bench[] = [ingest, rules, memory, store, csv, start];

const words = process.argv.slice(2);
const asJson = words.includes('--json');
const wanted = words.filter((word) => !word.startsWith('--'));
const unknown = wanted.filter((name) => !benches.some((bench) => bench.name === name));
if (unknown.length > 0) {
  console.error(`no bench "${unknown.join('", "')}"; there is ${benches.map(({ name }) => name).join(', ')}`);
  process.exit(2);
}

const figures: Record<string, number> = {};
const settings: Record<string, unknown> = {};
for (const bench of benches) {
  if (wanted.length > 0 && !wanted.includes(bench.name)) continue;
  console.log(`\n${bench.name}: ${Object.entries(bench.settings).map(([key, value]) => `${key} ${value}`).join(', ')}`);
  settings[bench.name] = bench.settings;
  for (const { key, value, says } of await bench.run()) {
    figures[key] = Number(value.toPrecision(4));
    console.log(`  ${key.padEnd(22)} ${String(figures[key]).padStart(10)}   ${says}`);
  }
}
if (asJson) console.log(JSON.stringify({ ...figures, settings }));
