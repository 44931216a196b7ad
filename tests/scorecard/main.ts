/** `npm run scorecard`: how well Tankbell tells faults whose truth is known, and how often it calls for nothing. `-- --help` says what may be asked. */
import { faultKinds } from '../../simulator/faults/all.ts';
import { namedBy } from '../../simulator/faults/named-by.ts';
import { readArguments, type ScorecardOptions } from './arguments.ts';
import { loadFleets } from './fleets.ts';
import { planJobs } from './plan.ts';
import { showCard } from './show.ts';
import { type Figures, sum } from './sum.ts';
import { runAll } from './workers.ts';

const SECOND = 1000;

async function main(options: ScorecardOptions): Promise<void> {
  const fleets = await loadFleets();
  const jobs = planJobs(options, fleets);
  const strangers = [...new Set(faultKinds.flatMap(({ name }) => namedBy[name] ?? []))].filter((kind) => !fleets.kinds.has(kind)).sort();
  const began = performance.now();
  let toldMs = began;
  const enough = new AbortController();
  process.once('SIGINT', () => enough.abort());
  const scores = await runAll(jobs, options.workers, (done) => {
    const now = performance.now();
    if (now - toldMs < 10 * SECOND && done < jobs.length) return;
    toldMs = now;
    process.stderr.write(`${done} of ${jobs.length} trials after ${((now - began) / SECOND).toFixed(0)} s\n`);
  }, enough.signal);
  if (scores.length < jobs.length) process.stdout.write(`INTERRUPTED: ${scores.length} of ${jobs.length} trials, the first of them.\n`);
  const card = sum(scores);
  process.stdout.write(`${showCard(card, options, strangers)}\n`);
  if (options.json) process.stdout.write(`${JSON.stringify(rounded(card.figures))}\n`);
}

const rounded = (figures: Figures): Record<string, number | null> =>
  Object.fromEntries(Object.entries(figures).map(([key, value]: [string, number | null]) => [key, value === null ? null : Number(value.toPrecision(4))]));

const asked = readArguments(process.argv.slice(2));
if ('print' in asked) process.stdout.write(`${asked.print}\n`);
else if ('mistake' in asked) {
  process.stderr.write(`${asked.mistake}\n`);
  process.exitCode = 2;
} else await main(asked.options);
