/**
 * The cost of judging. All rule kinds on a tank of twenty points, per reading, beside the bare parse of the messages that carry the readings; and a year of that tank
 * through every rule, from its sealed days, beside the bare decode of them. Without the store: what is decided is let go.
 */
import { benchTank, decodeYear, type Message, messagesOf, Replay, replayYear, sealYear } from './tank-year.ts';
import type { Bench } from './main.ts';

const days = Number(process.env['TANKBELL_BENCH_DAYS'] ?? 365);
const messageDays = 14;
const rounds = 3;

export const rules: Bench = {
  name: 'rules',
  settings: { fleet: 'tests/bench/twenty-points.yaml', cadenceS: 60, messageDays, days, rounds },
  async run() {
    const tank = await benchTank();
    const { fleet } = tank;
    const messages = messagesOf(fleet, messageDays);
    const readings = messages.reduce((sum, { samples }) => sum + samples.length, 0);
    const drive = (of: typeof tank.rules) => (): void => watch(messages, new Replay(fleet, of));
    const [parse, bare, judged] = takeTurns([() => parseAll(messages), drive([]), drive(tank.rules)], rounds).map((ms) => (ms * 1000) / readings) as [number, number, number];
    const year = sealYear(fleet, days);
    const [decodeMs, replayMs] = takeTurns([() => decodeYear(year), () => replayYear(year, tank)], 1) as [number, number];
    const perReading = (ms: number): string => `${((ms * 1000) / year.readings).toFixed(2)} µs`;
    return [
      { key: 'ruleMicrosPerReading', value: judged - bare, says: `µs for all rules of a reading (${tank.rules.length} rules on ${fleet.points.length} points), beyond intake alone (${bare.toFixed(2)} µs)` },
      { key: 'judgedVsIntake', value: judged / bare, says: 'times the cost of intake alone' },
      { key: 'ruleVsParse', value: (judged - bare) / parse, says: `times JSON.parse of the messages that carry them (${parse.toFixed(2)} µs a reading)` },
      { key: 'yearReplaySeconds', value: replayMs / 1000, says: `s for ${days} days, ${year.readings} readings: decoded, intake, every rule, alarms (${perReading(replayMs)} a reading)` },
      { key: 'yearReplayVsDecode', value: replayMs / decodeMs, says: `times the bare decode of the same days (${(decodeMs / 1000).toPrecision(3)} s)` },
    ];
  },
};

function parseAll(messages: readonly Message[]): void {
  let members = 0;
  for (const { text } of messages) members += Object.keys(JSON.parse(text)).length;
  if (members === 0) throw new Error('the messages are empty');
}

function watch(messages: readonly Message[], replay: Replay): void {
  for (const [index, { atMs, samples }] of messages.entries()) {
    for (const sample of samples) replay.take(sample, atMs);
    if (index % 1000 === 0) replay.settle();
  }
}

/** Median milliseconds of processor time of each (whatever else the machine does meanwhile does not count), taken in turns; the first turn warms up and does not count where there are several. */
function takeTurns(works: readonly (() => void)[], count: number): readonly number[] {
  const times: number[][] = works.map(() => []);
  for (let round = count === 1 ? 1 : 0; round <= count; round += 1) {
    for (const [at, work] of works.entries()) {
      const began = process.cpuUsage();
      work();
      const { user, system } = process.cpuUsage(began);
      if (round > 0) times[at]?.push((user + system) / 1000);
    }
  }
  return times.map((each) => each.sort((a, b) => a - b)[each.length >> 1] ?? Number.NaN);
}
