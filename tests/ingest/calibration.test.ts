/**
 * Calibration lines against worked examples.
 * pH buffers: 4.005 (phthalate) and 6.865 (phosphate) at 25 °C are the primary standards of NIST SP 260 (from memory); the electrode's readings are invented.
 * Melting ice is 0.00 °C by definition of the ice point; water boils at 95.0 °C at about 1,420 m (steam tables, from memory).
 */
import { expect, it } from 'vitest';
import { calibrate, curvesOf, fromOffset, fromTwoPoints, lineAt } from '../../src/ingest/calibration.ts';

const two = (m1: number, t1: number, m2: number, t2: number) => {
  const line = fromTwoPoints({ measured: m1, trueValue: t1 }, { measured: m2, trueValue: t2 });
  if ('wrong' in line) throw new Error(line.wrong);
  return line;
};
const through = (line: { slope: number; offset: number }, raw: number): number => calibrate([{ ...line, fromMs: 0 }], 1, raw);

it('puts both buffers where they belong, and what lies between on the line', () => {
  const line = two(4.20, 4.005, 7.00, 6.865);
  // (6.865 − 4.005) / (7.00 − 4.20) = 2.86 / 2.80 = 1.0214285714; 4.005 − 1.0214285714 · 4.20 = −0.285.
  expect(line).toEqual({ slope: 1.02142857143, offset: -0.285000000006 });
  expect(through(line, 4.2)).toBeCloseTo(4.005, 9);
  expect(through(line, 7)).toBeCloseTo(6.865, 9);
  expect(through(line, 8.2)).toBeCloseTo(8.0907142857, 9);
});

it('corrects a thermometer by ice and steam', () => {
  const line = two(0.6, 0, 94.2, 95);
  expect(through(line, 0.6)).toBeCloseTo(0, 9);
  expect(through(line, 94.2)).toBeCloseTo(95, 9);
  // 95 / 93.6 · (25 − 0.6)
  expect(through(line, 25)).toBeCloseTo(24.7649572650, 9);
});

it('shifts by one pair', () => {
  expect(fromOffset(25.4, 25.1)).toEqual({ slope: 1, offset: -0.3 });
  expect(through(fromOffset(25.4, 25.1), 30)).toBe(29.7);
});

it('turns a sensor round that measures from the top', () => {
  const line = two(50, 400, 400, 50);
  expect(line).toEqual({ slope: -1, offset: 450 });
  expect(through(line, 100)).toBe(350);
});

it('refuses what is no line, in words', () => {
  expect(fromTwoPoints({ measured: 7, trueValue: 4 }, { measured: 7, trueValue: 7 })).toEqual({ wrong: expect.stringContaining('the same') });
  expect(fromTwoPoints({ measured: 4, trueValue: 7 }, { measured: 7, trueValue: 7 })).toEqual({ wrong: expect.stringContaining('slope would be 0') });
  expect(fromTwoPoints({ measured: 7, trueValue: 0 }, { measured: 7.001, trueValue: 9 })).toEqual({ wrong: expect.stringContaining('check the four numbers') });
});

it('is in force from its time until the next, and nothing is before the first', () => {
  const entered = { by: 'Ana', why: 'x', enteredMs: 0 };
  const curve = curvesOf([{ pointId: 'p', fromMs: 200, slope: 1, offset: 2, ...entered }, { pointId: 'q', fromMs: 0, slope: 1, offset: 9, ...entered }, { pointId: 'p', fromMs: 100, slope: 1, offset: 1, ...entered }]).get('p') ?? [];
  expect([99, 100, 199, 200].map((atMs) => calibrate(curve, atMs, 10))).toEqual([10, 11, 11, 12]);
  expect(lineAt(curve, 99)).toBeNull();
});
