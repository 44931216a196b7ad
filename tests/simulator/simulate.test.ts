import { describe, expect, it } from 'vitest';
import { DAY } from '../../src/domain/duration.ts';
import { readCsv } from '../../adapters/csv.ts';
import { csvHeader, csvWriter } from '../../simulator/csv.ts';
import { readSimulateArguments, simulateHelp } from '../../simulator/simulate-arguments.ts';
import { makeTrial } from '../../simulator/trial.ts';
import { trialFleet } from './trial-fleet.ts';

const asked = (line: string) => readSimulateArguments(line.split(' ').filter((word) => word !== ''));
const mistake = (line: string): string => {
  const read = asked(line);
  return 'mistake' in read ? read.mistake : `no mistake: ${JSON.stringify(read)}`;
};

describe('what simulate is asked for', () => {
  it('reads everything', () => {
    expect(asked('--tank-kind cold --fault pump-dry --seed 7 --days 12 --fault-after 2.5 --start 2026-07-01 --calm --send senml --out a.csv')).toEqual({
      run: {
        tankKind: 'cold-marine', fleetFile: null, tankId: null, fault: 'pump-dry', seed: 7, lastsMs: 12 * DAY, settleMs: 2.5 * DAY, startMs: Date.UTC(2026, 6, 1), habits: 'calm',
        out: { type: 'csv', file: 'a.csv' }, sentAs: 'senml',
      },
    });
    expect(asked('--mqtt mqtt://127.0.0.1:1883 --speed 60')).toMatchObject({ run: { tankKind: 'small-reef', fault: null, lastsMs: 30 * DAY, out: { type: 'mqtt', speed: 60, user: 'trial-site' } } });
    expect(asked('--help')).toEqual({ print: simulateHelp });
    expect(asked('--list')).toMatchObject({ print: expect.stringMatching(/large-reef[^]*chiller-losing-capacity +creeping, in summer/) });
  });

  it.each([
    ['', 'say where the readings go: --out FILE.csv, or --mqtt URL'],
    ['--out a --mqtt mqtt://b', '--out and --mqtt exclude each other'],
    ['--out a --fault leek', '--fault: there is no "leek"; write one of: chiller-losing-capacity,'],
    ['--out a --tank-kind pond', '--tank-kind: there is no "pond"; write one of: small-reef,'],
    ['--out a --days 0', '--days: "0" will not do; write a number above 0 up to 3660, such as 30'],
    ['--out a --days many', '--days: "many" will not do'],
    ['--out a --fault leak --days 5 --fault-after 5', '--fault-after: the fault would begin after 5 days, and all is over after 5'],
    ['--out a --seed 1.5', '--seed: "1.5" is no whole number from 0; write one like 1'],
    ['--out a --start 2026-02-30', '--start: "2026-02-30" is no time; write it like 2026-07-01 or'],
    ['--out a --send xml', '--send: the simulator cannot write "xml"; write one of: number, json, senml, sparkplug'],
    ['--mqtt localhost', '--mqtt: "localhost" is no address of a broker'],
    ['--out a --fleet b --tank-kind cold', '--fleet and --tank-kind exclude each other'],
    ['--out a --colour red', "Unknown option '--colour'"],
  ])('"%s" is a mistake that says what to write', (line, said) => {
    expect(mistake(line)).toContain(said);
  });
});

it('the CSV it writes is read back by the product, reading for reading', async () => {
  const fleet = trialFleet('planted-fresh');
  const trial = makeTrial({ fleet, seed: 3, fault: null, startMs: Date.UTC(2026, 2, 3), settleMs: 0, watchMs: DAY / 8 });
  if (trial === null) throw new Error('no trial');
  const arrivals = [...trial.run().slices()].flat();
  const text = csvHeader + csvWriter(fleet)(arrivals);
  const units = new Map(fleet.points.map(({ id, unit }) => [id, unit]));
  const rows: [string, number, number][] = [];
  for await (const block of readCsv(text)) {
    expect(block.refusals).toEqual([]);
    for (const { label, atMs, value, unit } of block.rows) {
      rows.push([label, atMs, Number(value)]);
      const declared = units.get(label);
      if (declared !== null) expect(unit).toBe(declared);
    }
  }
  expect(rows.length).toBeGreaterThan(1500);
  expect(rows).toEqual(arrivals.flatMap(({ samples }) => samples.map(({ pointId, atMs, value }) => [pointId, atMs, value])));
});
