/** EWMA and CUSUM against their published worked examples. */
import { describe, expect, it } from 'vitest';
import { type Cusum, cusum, cusumStart, shifted } from '../../../src/physics/statistics/cusum.ts';
import { ewma, ewmaLimits, weightOf } from '../../../src/physics/statistics/ewma.ts';

const series = (values: readonly number[], start: number, weight: number): number[] => {
  const all = [start];
  for (const value of values) all.push(ewma(all.at(-1) ?? null, value, weight));
  return all;
};

// NIST/SEMATECH e-Handbook of Statistical Methods 6.3.2.4 (second-hand, quoted verbatim): λ = 0.3, target 50, s = 2.0539, k = 3.
describe('EWMA, NIST', () => {
  const data = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];
  const printed = [50.0, 50.6, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99];

  it('its 21 values', () => {
    const all = series(data, 50, 0.3);
    expect(all).toHaveLength(printed.length);
    all.forEach((value, i) => expect(Math.abs(value - (printed[i] ?? Number.NaN)), `EWMA${i}`).toBeLessThanOrEqual(0.005 + 1e-9));
  });

  it('its limits, and nothing beyond them', () => {
    const { low, high } = ewmaLimits(50, 2.0539, 0.3, 3);
    // The page prints 52.5884 and, with a factor cut off at four digits, 47.4115; the exact factor gives 47.4116.
    expect(Math.abs(high - 52.5884)).toBeLessThanOrEqual(5e-5 + 1e-9);
    expect(Math.abs(low - 47.4115)).toBeLessThanOrEqual(1e-4 + 5e-5);
    expect(series(data, 50, 0.3).filter((value) => value > high || value < low)).toEqual([]);
  });

  // Computed (check values §5.1).
  it.each([[1, 51.8485], [2, 52.2564], [3, 52.4314], [4, 52.5127], [5, 52.5516]])('its limit after %d values', (count, high) => {
    expect(Math.abs(ewmaLimits(50, 2.0539, 0.3, 3, count).high - high)).toBeLessThanOrEqual(5e-5 + 1e-9);
  });
});

// Montgomery, Introduction to Statistical Quality Control, 8th EMEA ed. (second-hand): λ = 0.1, L = 2.7, σ = 1.
describe('EWMA, Montgomery', () => {
  const data = [-0.55, -2.01, -0.71, 1.66, 2.16, 0.18, -1.96, 1.46, -0.8, 0.34, -0.97, 1.47, 0.51, -0.6, 0.08, -0.63, 0.62, 0.31, -1.48, 0.84, 0.9, -0.67, 2.29, 1.5, 0.6, 1.08, 0.38, 1.62, 1.31, 0.52].map((x) => 10 + x);
  const printed = [9.945, 9.7495, 9.70355, 9.8992, 10.1253, 10.1307, 9.92167, 10.0755, 9.98796, 10.0232, 9.92384, 10.0785, 10.1216, 10.0495, 10.0525, 9.98426, 10.0478, 10.074, 9.91864, 10.0108, 10.0997, 10.0227, 10.2495, 10.3745, 10.3971, 10.4654, 10.4568, 10.5731, 10.6468, 10.6341];

  it('its 30 values', () => {
    series(data, 10, 0.1).slice(1).forEach((value, i) => expect(Math.abs(value - (printed[i] ?? Number.NaN)), `observation ${i + 1}`).toBeLessThanOrEqual(5e-5 + 1e-9));
  });

  it('its limits 10.62 and 9.38, left at observations 29 and 30', () => {
    const { low, high } = ewmaLimits(10, 1, 0.1, 2.7);
    expect([high, low].map((x) => x.toFixed(2))).toEqual(['10.62', '9.38']);
    const out = series(data, 10, 0.1).flatMap((value, i) => (value > high || value < low ? [i] : []));
    expect(out).toEqual([29, 30]);
  });

  it('its limits after the first value: 10.27 and 9.73', () => {
    const { low, high } = ewmaLimits(10, 1, 0.1, 2.7, 1);
    expect([high, low].map((x) => x.toFixed(2))).toEqual(['10.27', '9.73']);
  });
});

it('readings at any spacing weigh by the time they stood for', () => {
  expect(weightOf(0, 1000)).toBe(0);
  // Ten steps of 100 ms leave as much of the old as one of 1000 ms.
  expect(1 - (1 - weightOf(100, 1000)) ** 10).toBeCloseTo(weightOf(1000, 1000), 12);
  expect(ewma(null, 7, 0.1)).toBe(7);
});

// Montgomery & Runger, Applied Statistics and Probability for Engineers, Example 16-6, Tables 16-7 and 16-8: target 99, K = 1, H = 10.
describe('CUSUM, Montgomery and Runger', () => {
  const data = [102.0, 94.8, 98.3, 98.4, 102.0, 98.5, 99.0, 97.7, 100.0, 98.1, 101.3, 98.7, 101.1, 98.4, 97.0, 96.7, 100.3, 101.4, 97.2, 101.0];
  const sH = [2.0, 0, 0, 0, 2.0, 0.5, 0, 0, 0, 0, 1.3, 0, 1.1, 0, 0, 0, 0.3, 1.7, 0, 1.0];
  const sL = [0, 3.2, 2.9, 2.5, 0, 0, 0, 0.3, 0, 0, 0, 0, 0, 0, 1.0, 2.3, 0, 0, 0.8, 0];

  it('its table, and no alarm', () => {
    let state: Cusum = cusumStart;
    data.forEach((value, i) => {
      state = cusum(state, value, 99, 1);
      expect(state.high, `sH(${i + 1})`).toBeCloseTo(sH[i] ?? Number.NaN, 9);
      expect(state.low, `sL(${i + 1})`).toBeCloseTo(sL[i] ?? Number.NaN, 9);
      expect(shifted(state, 10)).toBeNull();
    });
  });

  it('its plain sums (Table 16-7) with no slack', () => {
    const printed = [3.0, -1.2, -1.9, -2.5, 0.5, 0, 0, -1.3, -0.3, -1.2, 1.1, 0.8, 2.9, 2.3, 0.3, -2.0, -0.7, 1.7, -0.1, 1.9];
    let sum = 0;
    data.forEach((value, i) => {
      sum += value - 99;
      expect(sum).toBeCloseTo(printed[i] ?? Number.NaN, 9);
    });
  });

  it('a shift of 2 that lasts is found, and its direction', () => {
    let state: Cusum = cusumStart;
    for (let i = 0; i < 12; i += 1) state = cusum(state, 97, 99, 1);
    expect(shifted(state, 10)).toBe('down');
    let up: Cusum = cusumStart;
    for (let i = 0; i < 12; i += 1) up = cusum(up, 101, 99, 1);
    expect(shifted(up, 10)).toBe('up');
  });
});
