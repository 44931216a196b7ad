import { describe, expect, it } from 'vitest';
import { DAY } from '../../src/domain/duration.ts';
import { type Columns, DamagedDayError, dayOf, decodeDay, encodeDay } from '../../src/store/codec.ts';
import { decimalsOf } from '../../src/store/codec-values.ts';
import { StoreError } from '../../src/store/contract.ts';
import { seededRandom } from './seeded.ts';

/** 2026-03-01. */
const THE_DAY = 20_513;
const START = THE_DAY * DAY;

type Rows = readonly (readonly [afterMs: number, value: number, quality?: number])[];

const columns = (rows: Rows, startMs = START): Columns => ({
  atMs: Float64Array.from(rows, ([afterMs]) => startMs + afterMs),
  value: Float64Array.from(rows, ([, value]) => value),
  quality: Float64Array.from(rows, ([, , quality = 0]) => quality),
});
/** Every bit of every column; −0 is not 0 here. */
const bits = ({ atMs, value, quality }: Columns): readonly BigUint64Array[] => [atMs, value, quality].map((column) => new BigUint64Array(column.slice().buffer));
function expectWhole(day: Columns, number = THE_DAY): Uint8Array {
  const blob = encodeDay(7, number, day);
  expect(bits(decodeDay(7, number, blob))).toEqual(bits(day));
  return blob;
}
const damage = (work: () => unknown): DamagedDayError => {
  try {
    work();
  } catch (error) {
    if (error instanceof DamagedDayError) return error;
    throw error;
  }
  throw new Error('read without complaint');
};

describe('a day comes back to the bit', () => {
  const ends = [5e-324, -5e-324, 2.2250738585072014e-308, Number.MAX_VALUE, -Number.MAX_VALUE, 0.1 + 0.2, 2 ** 51, 2 ** 51 + 1, -(2 ** 53), 1e22, 1e-22, 1 / 3];
  it.each<[string, Rows]>([
    ['a single reading', [[0, 25.4]]],
    ['a single −0 with a flag', [[DAY - 1, -0, 1]]],
    ['the first and the last millisecond of the day', [[0, 1], [DAY - 1, 2]]],
    ['a constant', Array.from({ length: 8640 }, (_, i) => [i * 10_000, 58.2] as const)],
    ['0 and −0 in turn', Array.from({ length: 400 }, (_, i) => [i, i % 2 === 0 ? 0 : -0] as const)],
    ['the ends of what a double can be', ends.map((value, i) => [i * 977, value] as const)],
    ['huge steps', Array.from({ length: 300 }, (_, i) => [i * 1000, (i % 2 === 0 ? 1 : -1) * 2 ** 51] as const)],
    ['decimals that ask for ever more digits', Array.from({ length: 14 }, (_, i) => [i, Number(`1.${'0'.repeat(i)}1`)] as const)],
    ['large numbers before small decimals', [[0, 2 ** 50], [1, 0.001]]],
    ['two values far apart, many times', Array.from({ length: 1000 }, (_, i) => [i * 60_000, i % 3 === 0 ? 1e300 : 1e-300] as const).filter(([at]) => at < DAY)],
    ['alternating flags', Array.from({ length: 500 }, (_, i) => [i * 2, i, i % 2] as const)],
    ['flags of many bits', [[0, 1, 2 ** 40], [1, 1, Number.MAX_SAFE_INTEGER], [2, 1, 0]]],
    ['a reading every millisecond for a while, then none, then one', [...Array.from({ length: 5000 }, (_, i) => [i, i / 8] as const), [DAY - 5, 3]]],
    ['a cadence that changes in the middle', [...Array.from({ length: 100 }, (_, i) => [i * 10_000, i] as const), ...Array.from({ length: 100 }, (_, i) => [2_000_000 + i * 60_000, i] as const)]],
    ['whole seconds', Array.from({ length: 1000 }, (_, i) => [i * 30_000 + (i % 3) * 1000, 7] as const)],
    // A leap second repeats a second in POSIX time; what a source sends then is one stamp twice or a stamp out of order. The store orders and
    // deduplicates; here it only matters that 23:59:59.999 and what follows it stand in two days.
    ['the last second before a leap second', [[DAY - 1000, 1], [DAY - 1, 2]]],
  ])('%s', (_, rows) => {
    expectWhole(columns(rows));
  });

  it('on days before 1970 and far in the future', () => {
    for (const day of [-1, -200_000, 0, 90_000_000]) expectWhole(columns([[0, 1], [5, 2], [DAY - 1, 3]], day * DAY), day);
    expect([dayOf(-1), dayOf(0), dayOf(DAY - 1), dayOf(DAY)]).toEqual([-1, 0, 0, 1]);
  });

  it('whatever it is made of, seeds 1 to 300', () => {
    for (let seed = 1; seed <= 300; seed += 1) {
      const day = randomDay(seed);
      const blob = encodeDay(seed, THE_DAY, day);
      expect(bits(decodeDay(seed, THE_DAY, blob)), `seed ${seed}`).toEqual(bits(day));
    }
  });
});

/** Times and values each drawn from one of several characters, so that every form meets every other. */
function randomDay(seed: number): Columns {
  const random = seededRandom(seed);
  const pick = <T>(choices: readonly T[]): T => choices[Math.floor(random() * choices.length)] as T;
  const normal = (): number => Math.sqrt(-2 * Math.log(1 - random())) * Math.cos(2 * Math.PI * random());
  const anyDouble = (): number => {
    const view = new DataView(new ArrayBuffer(8));
    view.setUint32(0, Math.floor(random() * 2 ** 32));
    view.setUint32(4, Math.floor(random() * 2 ** 32));
    const value = view.getFloat64(0);
    return Number.isFinite(value) ? value : -0;
  };
  const period = pick([1, 20, 1000, 10_000, 60_000, 3_600_000]);
  const step = pick([
    () => period,
    () => Math.max(1, Math.round(period + 20 * normal())),
    () => 1 + Math.floor(random() * 2 * period),
    () => (random() < 0.02 ? 5_000_000 : period),
  ]);
  let walk = 25;
  const value = pick<() => number>([
    () => 25.43,
    () => Number((25 + normal()).toFixed(pick([0, 1, 2, 3]))),
    () => (walk = Number((walk + 0.0625 * Math.round(normal())).toFixed(4))),
    () => ((walk += normal() / 10) - 32) / 1.8,
    anyDouble,
    () => pick([0, -0, 1]),
    () => pick([0, 1, 296.1, 5e-324, 1e15, -1e15]),
    () => Math.round(normal() * 1e12) / 1e3,
  ]);
  const quality = pick([() => 0, () => 2, () => Math.floor(random() * 8), () => (random() < 0.01 ? 1 : 0)]);
  const rows: [number, number, number][] = [];
  for (let at = Math.floor(random() * period); at < DAY && rows.length < 3000; at += step()) rows.push([at, value(), quality()]);
  return columns(rows.length === 0 ? [[0, 1, 0]] : rows);
}

describe('decimals', () => {
  it.each<[readonly number[], number | null]>([
    [[1, 2, 300], 0],
    [[25.4, 25], 1],
    [[25.43, -0.01], 2],
    [[0.1 + 0.2], null],
    [[-0], null],
    [[0], 0],
    [[0.123456789012], 12],
    [[Math.PI], null],
    [[2 ** 51, 0.5], null],
    [[1e300], null],
    [[5e-324], null],
  ])('of %j are %s', (values, decimals) => {
    expect(decimalsOf(Float64Array.from(values))).toBe(decimals);
  });
});

describe('what is no day', () => {
  it.each<[string, Rows]>([
    ['NaN', [[0, Number.NaN]]],
    ['an infinite value', [[0, 1], [1, Number.POSITIVE_INFINITY]]],
    ['no reading', []],
    ['one time twice', [[5, 1], [5, 1]]],
    ['times out of order', [[5, 1], [4, 1]]],
    ['half a millisecond', [[0.5, 1]]],
    ['a time of the day before', [[-1, 1]]],
    ['a time of the day after', [[DAY, 1]]],
    ['no time', [[Number.NaN, 1]]],
    ['a negative quality', [[0, 1, -1]]],
    ['half a quality', [[0, 1, 0.5]]],
  ])('%s is refused', (_, rows) => {
    expect(() => encodeDay(7, THE_DAY, columns(rows))).toThrow(RangeError);
  });
});

describe('damage', () => {
  const day = columns(Array.from({ length: 200 }, (_, i) => [i * 10_000 + (i % 7), Math.round(2500 + 40 * Math.sin(i)) / 100, i % 50 === 0 ? 1 : 0] as const));
  const blob = encodeDay(7, THE_DAY, day);

  it('of any single bit is found out, and named by series and day', () => {
    for (let at = 0; at < blob.length; at += 1) {
      for (let bit = 0; bit < 8; bit += 1) {
        const broken = blob.slice();
        broken[at] = (broken[at] ?? 0) ^ (1 << bit);
        const error = damage(() => decodeDay(7, THE_DAY, broken));
        expect(error).toBeInstanceOf(StoreError);
        expect(error).toMatchObject({ series: 7, day: THE_DAY, permanent: true });
        expect(error.message).toMatch(/^the sealed day 2026-03-01 of series 7 is damaged \(.+\): restore a backup/);
      }
    }
  });

  it('by cutting, lengthening or emptying is found out', () => {
    for (let length = 0; length < blob.length; length += 1) damage(() => decodeDay(7, THE_DAY, blob.subarray(0, length)));
    damage(() => decodeDay(7, THE_DAY, Uint8Array.from([...blob, 0])));
  });

  it('by lying in the place of another series or day is found out', () => {
    damage(() => decodeDay(8, THE_DAY, blob));
    damage(() => decodeDay(7, THE_DAY + 1, blob));
  });

  it('that carries a right checksum ends in the same error, never in a hang or another one, seeds 1 to 2000', async () => {
    const { crc32 } = await import('node:zlib');
    for (let seed = 1; seed <= 2000; seed += 1) {
      const random = seededRandom(seed);
      const broken = blob.slice();
      for (let changes = 1 + Math.floor(random() * 4); changes > 0; changes -= 1) broken[5 + Math.floor(random() * (blob.length - 5))] = Math.floor(random() * 256);
      new DataView(broken.buffer).setUint32(1, crc32(broken.subarray(5), crc32(`7/${THE_DAY}`)), true);
      try {
        decodeDay(7, THE_DAY, broken);
      } catch (error) {
        expect(error, `seed ${seed}`).toBeInstanceOf(DamagedDayError);
      }
    }
  });

  it('of a later layout is told as such', () => {
    const later = blob.slice();
    later[0] = 2;
    expect(damage(() => decodeDay(7, THE_DAY, later)).message).toMatch(/layout 2, this Tankbell knows 1/);
  });
});

describe('size', () => {
  it('of a steady day is a few bytes, of a jittered decimal one about a byte a reading, of noise no more than the doubles', () => {
    const random = seededRandom(3);
    const steady = columns(Array.from({ length: 8640 }, (_, i) => [i * 10_000, 58.2] as const));
    expect(encodeDay(7, THE_DAY, steady).length).toBeLessThan(200);
    const jittered = columns(Array.from({ length: 8640 }, (_, i) => [i * 10_000 + Math.floor(random() * 40), Math.round(2540 + 30 * Math.sin(i / 900) + random()) / 100] as const));
    expect(encodeDay(7, THE_DAY, jittered).length / 8640).toBeLessThan(1.1);
    // Fahrenheit of a probe with whole degrees: long decimals, few different ones.
    const converted = columns(Array.from({ length: 8640 }, (_, i) => [i * 10_000, Number(((Math.round(78 + 2 * Math.sin(i / 900)) - 32) / 1.8).toPrecision(12))] as const));
    expect(encodeDay(7, THE_DAY, converted).length).toBeLessThan(600);
    const noise = columns(Array.from({ length: 1000 }, (_, i) => [i * 10_000, random() / 3] as const));
    expect(encodeDay(7, THE_DAY, noise).length).toBeLessThan(8.2 * 1000);
  });
});
