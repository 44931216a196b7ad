import { describe, expect, it } from 'vitest';
import type { Known } from '../../src/physics/known.ts';
import { garciaGordon, oxygenPercent, oxygenSaturationAtAltitudeMgPerL, oxygenSaturationMgPerL } from '../../src/physics/oxygen.ts';

const value = (known: Known<number>): number => {
  if (!known.known) throw new Error(known.why);
  return known.value;
};
const ATM = 101_325;

describe('Benson & Krause 1984', () => {
  // Printed second-hand; 9.092426 at 20 °C also in lecture notes.
  it.each([
    [20, 0, 9.0924], [25, 0, 8.2635], [25, 15, 7.5878], [25, 25, 7.1684],
    // Computed from the published formula (check values §3.3).
    [20, 35, 7.3961], [25, 35, 6.7721],
  ])('%d °C, S = %d', (celsius, salinity, mgPerL) => {
    expect(Math.abs(value(oxygenSaturationMgPerL(celsius, salinity)) - mgPerL)).toBeLessThanOrEqual(5e-5 + 1e-9);
  });

  it('25 °C, fresh, 0.95 atm: 7.8372 (printed second-hand)', () => {
    expect(Math.abs(value(oxygenSaturationMgPerL(25, 0, 0.95 * ATM)) - 7.8372)).toBeLessThanOrEqual(5e-5 + 1e-9);
  });

  // EN 25814 / ISO 5814, as reprinted in an instrument manual, p. 52; tolerance against a three-digit table 0.02 mg/L.
  it.each([[20, 9.09, 0.0475], [25, 8.26, 0.0421]])('the table of EN 25814 at %d °C', (celsius, mgPerL, perSalinity) => {
    expect(Math.abs(value(oxygenSaturationMgPerL(celsius, 0)) - mgPerL)).toBeLessThanOrEqual(0.02);
    // Its salinity correction, to 0.04 mg/L at 35.
    expect(Math.abs(value(oxygenSaturationMgPerL(celsius, 35)) - (mgPerL - 35 * perSalinity))).toBeLessThanOrEqual(0.04);
  });

  // Computed (check values §3.3).
  it.each([[5, 73.8], [4, 59.1], [2, 29.5]])('%d mg/L at 25 °C and S = 35 is %d %%', (mgPerL, percent) => {
    expect(Math.abs(value(oxygenPercent(mgPerL, 25, 35)) - percent)).toBeLessThanOrEqual(0.05 + 1e-9);
  });
});

describe('Garcia & Gordon 1992', () => {
  // Check value as quoted in the R package airsea (second-hand): t = 10 °C, S = 35.
  it('10 °C, S = 35: 274.610 µmol/kg and 6.315 mL/L', () => {
    expect(Math.abs(value(garciaGordon(10, 35, 'µmol/kg')) - 274.61)).toBeLessThanOrEqual(5e-4 + 1e-9);
    expect(Math.abs(value(garciaGordon(10, 35, 'mL/L')) - 6.315)).toBeLessThanOrEqual(5e-4 + 1e-9);
  });

  // GSW inserts t68: 274.5957 for "10 °C ITS-90".
  it('10 °C ITS-90 put in as IPTS-68, as GSW does, is 274.5957', () => {
    expect(Math.abs(value(garciaGordon(10 * 1.00024, 35, 'µmol/kg')) - 274.5957)).toBeLessThanOrEqual(5e-5 + 1e-9);
  });

  // Computed (check values §3.3).
  it.each([[20, 0, 9.092], [20, 35, 7.3951], [25, 0, 8.2629], [25, 35, 6.7708]])('%d °C, S = %d: %d mg/L, within 0.002 of the other', (celsius, salinity, mgPerL) => {
    const here = value(garciaGordon(celsius, salinity, 'mg/L'));
    expect(Math.abs(here - mgPerL)).toBeLessThanOrEqual(5e-5 + 1e-9);
    expect(Math.abs(here - value(oxygenSaturationMgPerL(celsius, salinity)))).toBeLessThanOrEqual(0.002);
  });
});

it('falls with altitude as the pressure does', () => {
  const share = value(oxygenSaturationAtAltitudeMgPerL(25, 35, 1500)) / value(oxygenSaturationMgPerL(25, 35));
  // 84.6 kPa of 101.3, less the vapour that does not thin out.
  expect(share).toBeGreaterThan(0.82);
  expect(share).toBeLessThan(0.835);
});

it('says where it does not hold', () => {
  expect(oxygenSaturationMgPerL(41, 0).known).toBe(false);
  expect(oxygenSaturationMgPerL(25, 41).known).toBe(false);
  expect(oxygenSaturationMgPerL(25, 35, 101).known).toBe(false);
  expect(garciaGordon(-1, 35, 'mg/L').known).toBe(false);
  expect(oxygenSaturationAtAltitudeMgPerL(25, 35, 9000).known).toBe(false);
});
