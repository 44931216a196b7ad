import { describe, expect, it } from 'vitest';
import { a, b, extendedSalinityOfRt, hill, ratioOfRt, rt35, rtOfRatio, rtOfSalinity, salinityOfRt } from '../../src/physics/pss78.ts';
import { asIpts68, ipts68, its90 } from '../../src/physics/temperature-scale.ts';

const halfUnit = (digits: number): number => 0.5 * 10 ** -digits + 1e-12;

describe('practical salinity, the bare formulas', () => {
  // UNESCO TP44 (Fofonoff & Millard 1983), p. 8: self-test of the constants.
  it('its constants sum to 35 and 0', () => {
    expect(a.reduce((sum, x) => sum + x, 0)).toBeCloseTo(35, 12);
    expect(b.reduce((sum, x) => sum + x, 0)).toBeCloseTo(0, 12);
  });

  // UNESCO TP44 p. 9: R, t68, p -> rt, Rt, S. Tolerance half a unit of the last printed digit. (A public port misprints the last one as 29.995347.)
  it.each([
    [1, 15, 0, 1.0, 1.0, 35.0],
    [1.2, 20, 2000, 1.1164927, 1.0568875, 37.245628],
    [0.65, 5, 1500, 0.77956585, 0.81705885, 27.995347],
  ])('R = %d, %d °C, %d dbar', (ratio, celsius68, dbar, rtPrinted, RtPrinted, salinity) => {
    const t68 = asIpts68(celsius68);
    const rt = rtOfRatio(ratio, t68, dbar);
    expect(Math.abs(rt35(t68) - rtPrinted)).toBeLessThanOrEqual(halfUnit(7));
    expect(Math.abs(rt - RtPrinted)).toBeLessThanOrEqual(halfUnit(7));
    expect(Math.abs(salinityOfRt(rt, t68) - salinity)).toBeLessThanOrEqual(halfUnit(6));
    // Rp is what is left: TP44 prints 1.0169429 and 1.0204864.
    expect(ratioOfRt(rt, t68, dbar)).toBeCloseTo(ratio, 12);
  });

  // UNESCO TP44 p. 11, FORTRAN header, both ways: R = 1.888091, t = 40, p = 10000 <-> S = 40.00000 (outside of the valid range, printed as a check).
  it('R = 1.888091 at 40 °C and 10000 dbar is S = 40, both ways', () => {
    const t68 = asIpts68(40);
    expect(Math.abs(salinityOfRt(rtOfRatio(1.888091, t68, 10000), t68) - 40)).toBeLessThanOrEqual(2e-5);
    expect(Math.abs(ratioOfRt(rtOfSalinity(40, t68), t68, 10000) - 1.888091)).toBeLessThanOrEqual(halfUnit(6));
  });

  // UNESCO TP44 p. 13: salinity from ratio at p = 0; the ratios are 30, 40, 50 and 60 mS/cm over 42.914. Reproduced to 5.1e-5, print rounding.
  it.each([
    [0.6990725, [36.2864, 26.8609, 20.8085, 16.71, 13.8131]],
    [0.9320967, [50.0127, 36.9676, 28.608, 22.9533, 18.9594]],
    [1.1651209, [64.4641, 47.5215, 36.7173, 29.4273, 24.2862]],
    [1.3981451, [79.7047, 58.5321, 45.1289, 36.1195, 29.78]],
  ])('the table of p. 13, R = %d', (ratio, row) => {
    row.forEach((printed, index) => {
      const t68 = asIpts68(index * 10);
      expect(Math.abs(salinityOfRt(rtOfRatio(ratio, t68), t68) - printed), `at ${index * 10} °C`).toBeLessThanOrEqual(5.2e-5);
    });
  });
});

describe('low salinity', () => {
  // Conductivity at 25 °C ITS-90 -> PSS-78 raw and Hill 1986 (computed from the published formulas), joined form evaluated with GSW-C (TEOS-10).
  it.each([
    [0.1, 0.051696, 0.046206, 0.046209],
    [1, 0.493158, 0.492413, 0.492451],
    [3, 1.558715, 1.558509, 1.558628],
  ])('%d mS/cm', (msPerCm, raw, hill1986, gsw) => {
    const t68 = ipts68(25);
    const rt = rtOfRatio(msPerCm / 42.914, t68);
    expect(Math.abs(salinityOfRt(rt, t68) - raw)).toBeLessThanOrEqual(halfUnit(6));
    expect(Math.abs(hill(rt, t68) - hill1986)).toBeLessThanOrEqual(halfUnit(6));
    expect(Math.abs(extendedSalinityOfRt(rt, t68) - gsw)).toBeLessThanOrEqual(halfUnit(6));
  });
});

it('25 °C are 25.006 on the scale of 1968 (t68 = 1.00024 t90), and back', () => {
  expect(ipts68(25)).toBeCloseTo(25.006, 9);
  expect(its90(ipts68(25))).toBeCloseTo(25, 12);
});
