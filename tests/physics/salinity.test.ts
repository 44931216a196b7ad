import { describe, expect, it } from 'vitest';
import type { Known } from '../../src/physics/known.ts';
import { compensated, conductivityMsPerCm, practicalSalinity, REFERENCE_MS_PER_CM, uncompensated } from '../../src/physics/salinity.ts';
import { asIpts68, its90 } from '../../src/physics/temperature-scale.ts';

const value = (known: Known<number>): number => {
  if (!known.known) throw new Error(known.why);
  return known.value;
};
const near = (known: Known<number>, expected: number, tolerance: number): void => expect(Math.abs(value(known) - expected)).toBeLessThanOrEqual(tolerance + 1e-12);

describe('salinity from conductivity, t on ITS-90', () => {
  // Evaluated with GSW-C, the C library of the TEOS-10 authors (state of November 2025), p = 0; below 2 with the joined Hill extension.
  it.each([
    [1, 0.550072, 0.492451],
    [5, 2.9981, 2.679605],
    [20, 13.344932, 11.914998],
    [42.914, 30.936119, 27.594438],
    [50, 36.713099, 32.733167],
    [53, 39.204573, 34.947299],
  ])('%d mS/cm', (msPerCm, at20, at25) => {
    near(practicalSalinity(msPerCm, 20), at20, 5e-7);
    near(practicalSalinity(msPerCm, 25), at25, 5e-7);
  });

  // UNESCO TP44 p. 13 through the conductivity, on its own scale of temperature.
  it('40 mS/cm at 20 °C (IPTS-68) is 28.6080', () => {
    near(practicalSalinity(40, its90(asIpts68(20))), 28.608, 5.2e-5);
  });

  // The reference conductivity: S = 35 at 15 °C (IPTS-68), Culkin & Smith 1980.
  it('42.914 mS/cm at 15 °C (IPTS-68) is 35', () => {
    expect(REFERENCE_MS_PER_CM).toBe(42.914);
    near(practicalSalinity(REFERENCE_MS_PER_CM, its90(asIpts68(15))), 35, 5e-7);
  });

  // Check values §1.5: the same number read on the other scale; both are right, and differ.
  it('35 at 25 °C is 53.071 mS/cm on ITS-90 and 53.0648 on IPTS-68', () => {
    near(conductivityMsPerCm(35, 25), 53.071, 5e-5);
    near(conductivityMsPerCm(35, its90(asIpts68(25))), 53.0648, 5e-5);
    near(conductivityMsPerCm(35, its90(asIpts68(20))), 47.9132, 5e-5);
    // Ignoring the scale moves S by "+0.0047" (computed there; the formula gives 0.00465, so the last printed digit is taken as good to one unit).
    const ignored = value(practicalSalinity(53.07103, its90(asIpts68(25)))) - 35;
    expect(Math.abs(ignored - 0.0047)).toBeLessThanOrEqual(0.0001);
  });

  // Computed (check values §1.5); the printed figures are the steps to one whole unit above.
  it('one mS/cm more is +0.743 near 35 at 25 °C, one kelvin more at the same conductivity -0.761', () => {
    expect(Math.abs(value(practicalSalinity(54.07103, 25)) - 35 - 0.743)).toBeLessThanOrEqual(5e-4);
    expect(Math.abs(value(practicalSalinity(53.07103, 26)) - 35 + 0.761)).toBeLessThanOrEqual(5e-4);
  });
});

describe('conductivity from salinity', () => {
  // Evaluated with GSW-C, t on ITS-90.
  it.each([
    [5, 8.06674, 8.95988],
    [20, 28.942, 32.091],
    [30, 41.74785, 46.25324],
    [35, 47.91804, 53.07103],
    [40, 53.95096, 59.73393],
  ])('S = %d', (salinity, at20, at25) => {
    near(conductivityMsPerCm(salinity, 20), at20, 5e-6);
    near(conductivityMsPerCm(salinity, 25), at25, 5e-6);
  });

  // Computed: S = 2 lies at 3.79665 mS/cm, 25 °C.
  it('joins its two halves at 2', () => {
    near(conductivityMsPerCm(2, 25), 3.79665, 5e-6);
    near(conductivityMsPerCm(1.9999999, 25), value(conductivityMsPerCm(2, 25)), 1e-6);
  });

  it('is the inverse of the salinity over the whole range', () => {
    for (let salinity = 0.2; salinity <= 42; salinity += 0.9) {
      for (let celsius = -2; celsius <= 34.9; celsius += 4.1) {
        near(practicalSalinity(value(conductivityMsPerCm(salinity, celsius)), celsius), salinity, 1e-9);
      }
    }
  });
});

describe('a probe that shows conductivity as if at 25 °C', () => {
  const linear = { kind: 'linear', percentPerK: 2, referenceC: 25 } as const;

  // Check values §1.5 (computed): water whose true k25 is 53.071 reads 53.242 at 20 °C and 53.052 at 30 °C when compensated with 2.0 %/K.
  it.each([[20, 53.242], [30, 53.052]])('2 %%/K at %d °C', (celsius, shows) => {
    near(compensated(value(conductivityMsPerCm(35, celsius)), celsius, linear), shows, 5e-4);
    near(practicalSalinity(shows, celsius, linear), 35, 0.0005);
    // Taken at its word it would be off by as much as 0.13.
    expect(Math.abs(value(practicalSalinity(shows, 25)) - 35)).toBeGreaterThan(0.01);
  });

  it('one that compensates as seawater does', () => {
    const seawater = { kind: 'seawater', referenceC: 25 } as const;
    near(practicalSalinity(53.07103, 20, seawater), 35, 1e-5);
    near(uncompensated(53.07103, 20, seawater), 47.91804, 1e-5);
    near(compensated(47.91804, 20, seawater), 53.07103, 1e-5);
  });

  it('undoing is the inverse of doing', () => {
    near(uncompensated(value(compensated(48, 21, linear)), 21, linear), 48, 1e-12);
  });
});

describe('where there is no answer, it says why', () => {
  // Valid for -2..35 °C and up to S = 42: UNESCO TP44 pp. 7-8.
  it.each([
    ['too warm', practicalSalinity(53, 36), /the water is 36 °C/],
    ['too cold', practicalSalinity(53, -3), /-2 to 35 °C/],
    ['too salt', practicalSalinity(60, 20), /the salinity is 45\.\d+, and the formula holds from 0 to 42/],
    ['below nothing', practicalSalinity(-1, 25), /cannot be/],
    ['no number', practicalSalinity(Number.NaN, 25), /cannot be/],
    ['no temperature', practicalSalinity(53, Number.NaN), /no number/],
    ['conductivity of brine', conductivityMsPerCm(43, 25), /0 to 42/],
    ['compensation without sense', practicalSalinity(53, 0, { kind: 'linear', percentPerK: 4, referenceC: 25 }), /cannot be undone/],
  ])('%s', (_what, known, why) => {
    expect(known.known ? '' : known.why).toMatch(why);
  });

  it('next to no conductivity is no salt: TP44 pp. 10-12 cuts at R = 0.0005', () => {
    expect(practicalSalinity(0.02, 25)).toEqual({ known: true, value: 0 });
    expect(value(practicalSalinity(0.05, 25))).toBeGreaterThan(0.01);
  });
});
