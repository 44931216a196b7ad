/**
 * Counters that are reset and roll over. Widths of registers are arithmetic: an unsigned 16-bit one ends at 65,535 counts, a 32-bit one at 4,294,967,295,
 * a six-digit display at 999,999.
 */
import { expect, it } from 'vitest';
import { between, type Count, countedPer, increments } from '../../src/physics/counter.ts';

const HOUR = 3_600_000;
const MOST_KWH_PER_HOUR = 20;
const counts = (values: readonly number[], stepMs = HOUR): Count[] => values.map((value, i) => ({ atMs: i * stepMs, value }));
const steps = (values: readonly number[], stepMs = HOUR) => increments(counts(values, stepMs), MOST_KWH_PER_HOUR).map(({ by, how }) => [by, how]);

it('counts up', () => {
  expect(steps([1234.5, 1235, 1235, 1236.25])).toEqual([[0.5, 'counted'], [0, 'counted'], [1.25, 'counted']]);
});

it.each([
  ['a 16-bit register of 0.01 kWh', 655.2, 0.3, 0.46],
  ['a 16-bit register of whole counts', 65_530, 4, 10],
  ['a 32-bit register of 0.001 kWh', 4_294_966.9, 0.25, 0.646],
  ['a six-digit display', 999_998, 3, 5],
  ['a display of four digits and one decimal', 999.8, 0.3, 0.5],
])('rolls over: %s', (_what, before, after, by) => {
  const [step] = steps([before, after]);
  expect(step?.[1]).toBe('rolled-over');
  expect(step?.[0]).toBeCloseTo(by, 6);
});

it('is reset: what it shows was counted since, the rest is lost', () => {
  expect(steps([1234.5, 0, 0.5])).toEqual([[0, 'reset'], [0.5, 'counted']]);
  expect(steps([1234.5, 1.2])).toEqual([[1.2, 'reset']]);
});

it('does not guess where a meter was exchanged, or jumped', () => {
  expect(steps([1234.5, 800])).toEqual([[null, 'unknown']]);
  expect(steps([1234.5, 9999.5, 9999.9])).toEqual([[null, 'unknown'], [0.4, 'counted']]);
  expect(steps([1234.5, -1])).toEqual([[null, 'unknown']]);
});

it('leaves a slip of one reading out, downwards and upwards', () => {
  expect(steps([1234.5, 0, 1235.5, 1236])).toEqual([[1, 'counted'], [0.5, 'counted']]);
  expect(steps([1234.5, 99999, 1235.5])).toEqual([[1, 'counted']]);
  // Two in a row are no slip any more.
  expect(steps([1234.5, 0, 0.5, 1]).map(([, how]) => how)).toEqual(['reset', 'counted', 'counted']);
});

it('counts nothing twice: order and repetition of readings do not matter', () => {
  const plain = counts([10, 11, 12.5, 0.5, 2, 3]);
  const untidy = [...plain].reverse().flatMap((one) => [one, one, { ...one }]);
  expect(increments(untidy, MOST_KWH_PER_HOUR)).toEqual(increments(plain, MOST_KWH_PER_HOUR));
  const sum = increments(untidy, MOST_KWH_PER_HOUR).reduce((total, { by }) => total + (by ?? 0), 0);
  expect(sum).toBeCloseTo(1 + 1.5 + 0.5 + 1.5 + 1, 9);
});

it('what the increments count is what was drawn, through resets and roll-overs at any place (seeded)', () => {
  let state = 5;
  const next = (): number => (state = (Math.imul(state, 1_664_525) + 1_013_904_223) >>> 0) / 2 ** 32;
  for (let run = 0; run < 200; run += 1) {
    let shown = Math.floor(30_000 + next() * 35_000) / 100;
    let drawn = 0;
    const readings: Count[] = [{ atMs: 0, value: shown }];
    for (let i = 1; i < 300; i += 1) {
      const by = Math.floor(next() * 300) / 100;
      drawn += by;
      shown = Math.round((shown + by) * 100) / 100;
      // 16 bits of 0.01 kWh.
      if (shown >= 655.36) shown = Math.round((shown - 655.36) * 100) / 100;
      readings.push({ atMs: i * HOUR, value: shown });
    }
    const counted = increments(readings, MOST_KWH_PER_HOUR);
    expect(counted.reduce((total, { by }) => total + (by ?? 0), 0)).toBeCloseTo(drawn, 6);
    expect(counted.some(({ how }) => how === 'rolled-over')).toBe(true);
    expect(counted.some(({ how }) => how === 'unknown')).toBe(false);
  }
});

it('hour by hour, what crosses a border is shared by time, and hours that are not covered are left out', () => {
  const half = HOUR / 2;
  const counted = increments([{ atMs: half, value: 1 }, { atMs: half + HOUR, value: 3 }, { atMs: half + 2 * HOUR, value: 3.5 }, { atMs: 3 * HOUR, value: 4 }], MOST_KWH_PER_HOUR);
  expect(countedPer(counted, 0, 4 * HOUR)).toEqual([{ fromMs: HOUR, by: 1.25 }, { fromMs: 2 * HOUR, by: 0.75 }]);
  const unknown = increments(counts([1, 2, 900, 901]), MOST_KWH_PER_HOUR);
  expect(countedPer(unknown, 0, 4 * HOUR)).toEqual([{ fromMs: 0, by: 1 }, { fromMs: HOUR, by: null }, { fromMs: 2 * HOUR, by: 1 }]);
});

it('a single interval tells by itself', () => {
  expect(between({ atMs: 0, value: 655.3 }, { atMs: HOUR, value: 0.14 }, MOST_KWH_PER_HOUR)).toEqual({ by: 0.2, how: 'rolled-over' });
});
