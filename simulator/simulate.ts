/** `npm run simulate`: the life of one invented tank, as a CSV file or over MQTT. */
import { closeSync, openSync, readFileSync, writeSync } from 'node:fs';
import { loadFormats } from '../adapters/load.ts';
import { openPublisher } from '../adapters/mqtt-publish.ts';
import { type Clock, systemClock } from '../src/clock.ts';
import { readFleet } from '../src/config/fleet-file.ts';
import { DAY, SECOND, showDuration } from '../src/domain/duration.ts';
import type { Fleet } from '../src/domain/fleet.ts';
import { loadRuleKinds } from '../src/rules/load.ts';
import { csvHeader, csvWriter } from './csv.ts';
import { publishPaced } from './publish.ts';
import { sentAs } from './sent-as.ts';
import { readSimulateArguments, type SimulateOptions } from './simulate-arguments.ts';
import { fleetFileOf } from './tank-kinds.ts';
import { makeTrial, type Trial } from './trial.ts';

class CannotSimulate extends Error {}

const say = (text: string): void => void process.stdout.write(`${text}\n`);

async function main(): Promise<void> {
  const asked = readSimulateArguments(process.argv.slice(2));
  if ('print' in asked) return say(asked.print);
  if ('mistake' in asked) throw new CannotSimulate(`${asked.mistake}\n("npm run simulate -- --help" says what there is)`);
  const { run } = asked;
  const read = await fleetOf(run.fleetFile ?? fleetFileOf(run.tankKind));
  const { sentAs: format } = run;
  const fleet = format === null ? read : sentAs(read, Object.fromEntries(read.sites.map(({ id }) => [id, format])));
  const startMs = run.startMs ?? (run.out.type === 'mqtt' ? systemClock.now() : null);
  const trial = trialOf(run, fleet, startMs);
  tell(trial);
  if (run.out.type === 'csv') writeCsv(run.out.file, fleet, trial);
  else await publish(run.out, trial);
}

async function fleetOf(file: string): Promise<Fleet> {
  const text = ((): string => {
    try {
      return readFileSync(file, 'utf8');
    } catch (cause) {
      throw new CannotSimulate(`--fleet: ${file} cannot be read: ${messageOf(cause)}`, { cause });
    }
  })();
  const reading = readFleet(text, file, { kinds: await loadRuleKinds(), formats: await loadFormats(), broker: 'external' });
  if ('mistakes' in reading) throw new CannotSimulate(reading.mistakes.map(({ line, column, message, fix }) => `${file}:${line}:${column}: ${message}; ${fix}`).join('\n'));
  return reading.fleet;
}

function trialOf(run: SimulateOptions, fleet: Fleet, startMs: number | null): Trial {
  const { fault, seed, settleMs, lastsMs, habits, tankId } = run;
  const made = ((): Trial | null => {
    try {
      return makeTrial({
        fleet, seed, fault, habits, settleMs: fault === null ? 0 : settleMs, watchMs: fault === null ? lastsMs : lastsMs - settleMs,
        ...(startMs === null ? {} : { startMs }), ...(tankId === null ? {} : { tankId }),
      });
    } catch (cause) {
      throw new CannotSimulate(messageOf(cause), { cause });
    }
  })();
  if (made === null) throw new CannotSimulate(`--fault: ${fault ?? ''} cannot happen to this tank, or nothing there would show it; try another --tank-kind`);
  return made;
}

function tell({ truth, startMs, endMs, departure }: Trial): void {
  const at = (atMs: number): string => new Date(atMs).toISOString();
  say(`From ${at(startMs)} to ${at(endMs)}.`);
  if (truth === null) return say('Nothing is wrong.');
  say(`${at(truth.beginMs)}  ${truth.name}: ${truth.does}`);
  say(`Named rightly by: ${truth.names.join(', ')}`);
  const departed = departure();
  say(departed === null ? 'It never departs from the healthy twin.' : `First departs from the healthy twin after ${showDuration(departed.atMs - truth.beginMs)}: ${departed.pointId}, ${departed.how}`);
}

function writeCsv(file: string, fleet: Fleet, trial: Trial): void {
  const handle = ((): number => {
    try {
      return openSync(file, 'w');
    } catch (cause) {
      throw new CannotSimulate(`--out: ${file} cannot be written: ${messageOf(cause)}`, { cause });
    }
  })();
  const lines = csvWriter(fleet);
  let count = 0;
  try {
    writeSync(handle, csvHeader);
    for (const slice of trial.run().slices(DAY / 4)) {
      writeSync(handle, lines(slice));
      for (const { samples } of slice) count += samples.length;
    }
  } finally {
    closeSync(handle);
  }
  say(`${count} readings in ${file}`);
}

async function publish(out: Extract<SimulateOptions['out'], { type: 'mqtt' }>, trial: Trial): Promise<void> {
  const password = out.passwordEnv === null ? '' : process.env[out.passwordEnv];
  if (password === undefined) throw new CannotSimulate(`--password-env: the environment has no ${out.passwordEnv}; set it`);
  const publisher = openPublisher({ url: out.url, clientId: `simulator-${out.user}`, user: out.user, password });
  const clock = fasterClock(systemClock, trial.startMs, out.speed);
  const { scenario } = trial.run();
  let count = 0;
  const playing = publishPaced({
    scenario, clock,
    publish: async (topic, payload) => {
      await publisher.publish(topic, payload);
      count += 1;
    },
    onFailure: ({ topic }, cause) => say(`${topic} could not be published: ${messageOf(cause)}`),
  });
  say('Publishing; Ctrl-C ends it.');
  let stopLooking = (): void => undefined;
  await new Promise<void>((done) => {
    for (const signal of ['SIGINT', 'SIGTERM'] as const) process.once(signal, () => done());
    stopLooking = clock.every(SECOND, () => {
      if (clock.now() >= trial.endMs) done();
    });
  });
  stopLooking();
  await playing.stop();
  await publisher.close();
  say(`${count} messages published.`);
}

/** Begins at `startMs` now, and runs `speed` times as fast. */
function fasterClock(clock: Clock, startMs: number, speed: number): Clock {
  const beganMs = clock.now();
  return { ...clock, now: () => Math.floor(startMs + (clock.now() - beganMs) * speed) };
}

const messageOf = (cause: unknown): string => (cause instanceof Error ? cause.message : String(cause));

try {
  await main();
} catch (error) {
  if (!(error instanceof CannotSimulate)) throw error;
  process.stderr.write(`${error.message}\n`);
  process.exitCode = 2;
}
