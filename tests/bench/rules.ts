/**
 * The cost of judging. All rule kinds on a tank of twenty points, per reading, beside the bare parse of the messages that carry the readings; and a year of that tank
 * through every rule, from its sealed days, beside the bare decode of them. Without the store: what is decided is let go. All in processor time.
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
    const [parse, bare, judged] = takeTurns([() => parseAll(messages), drive([]), drive(tank.rules)], rounds).map(({ cpuMs }) => (cpuMs * 1000) / readings) as [number, number, number];
    const year = sealYear(fleet, days);
    const [decode, replay] = takeTurns([() => decodeYear(year), () => replayYear(year, tank)], 1) as [Taken, Taken];
    const perReading = ((replay.cpuMs * 1000) / year.readings).toFixed(2);
    return [
      { key: 'ruleMicrosPerReading', value: judged - bare, says: `µs for all rules of a reading (${tank.rules.length} rules on ${fleet.points.length} points), beyond intake alone (${bare.toFixed(2)} µs)` },
      { key: 'judgedVsIntake', value: judged / bare, says: 'times the cost of intake alone' },
      { key: 'ruleVsParse', value: (judged - bare) / parse, says: `times JSON.parse of the messages that carry them (${parse.toFixed(2)} µs a reading)` },
      { key: 'yearReplaySeconds', value: replay.cpuMs / 1000, says: `s of processor time (${(replay.wallMs / 1000).toPrecision(3)} s by the clock) for ${days} days, ${year.readings} readings: decoded, intake, every rule, alarms (${perReading} µs a reading)` },
      { key: 'yearReplayVsDecode', value: replay.cpuMs / decode.cpuMs, says: `times the bare decode of the same days (${(decode.cpuMs / 1000).toPrecision(3)} s)` },
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

interface Taken {
  /** Whatever else the machine does meanwhile does not count. */
  readonly cpuMs: number;
  readonly wallMs: number;
}

/** The median by processor time of each, taken in turns; the first turn warms up and does not count where there are several. */
function takeTurns(works: readonly (() => void)[], count: number): readonly Taken[] {
  const times: Taken[][] = works.map(() => []);
  for (let round = count === 1 ? 1 : 0; round <= count; round += 1) {
    for (const [at, work] of works.entries()) {
      const began = process.cpuUsage();
      const beganMs = performance.now();
      work();
      const { user, system } = process.cpuUsage(began);
      if (round > 0) times[at]?.push({ cpuMs: (user + system) / 1000, wallMs: performance.now() - beganMs });
    }
  }
  return times.map((each) => each.sort((a, b) => a.cpuMs - b.cpuMs)[each.length >> 1] ?? { cpuMs: Number.NaN, wallMs: Number.NaN });
}
