import { describe, expect, it } from 'vitest';
import { densityKgPerM3, specificHeatJPerKgK } from '../../src/physics/seawater.ts';

/** The published values are on the IPTS-68 scale; the functions take ITS-90. */
const fromIpts68 = (t68: number): number => t68 / 1.00024;

describe('density of seawater', () => {
  // UNESCO TP44 (Fofonoff & Millard 1983) p. 19, p = 0; tolerance half a unit of the last printed digit.
  it.each([
    [0, 5, 999.96675],
    [0, 25, 997.04796],
    [35, 5, 1027.67547],
    [35, 25, 1023.34306],
  ])('S = %d at %d °C (IPTS-68) is %d kg/m³', (salinity, t68, expected) => {
    expect(Math.abs(densityKgPerM3(salinity, fromIpts68(t68)) - expected)).toBeLessThanOrEqual(0.000005 + 1e-9);
  });
});

describe('specific heat of seawater', () => {
  // UNESCO TP44 p. 32, printed check value (though outside of the valid range).
  it('S = 40 at 40 °C (IPTS-68) is 3980.051 J/(kg K)', () => {
    expect(Math.abs(specificHeatJPerKgK(40, fromIpts68(40)) - 3980.051)).toBeLessThanOrEqual(0.0005 + 1e-9);
  });

  // UNESCO TP44 p. 37, table for p = 0.
  it.each([
    [25, 0, 4048.4],
    [25, 20, 4044.8],
    [25, 40, 4051.2],
    [35, 0, 3986.5],
    [35, 10, 3986.3],
    [35, 20, 3993.9],
    [35, 30, 4000.7],
    [35, 40, 4003.5],
  ])('S = %d at %d °C (IPTS-68) is %d J/(kg K)', (salinity, t68, expected) => {
    expect(Math.abs(specificHeatJPerKgK(salinity, fromIpts68(t68)) - expected)).toBeLessThanOrEqual(0.05 + 1e-9);
  });

  // TEOS-10, evaluated with GSW-C: an independent formula, which differs by at most 0.2 % here.
  it.each([
    [20, 3996.1],
    [25, 3999.0],
    [30, 4001.5],
  ])('agrees with TEOS-10 at S = 35, %d °C', (celsius, teos10) => {
    expect(Math.abs(specificHeatJPerKgK(35, celsius) / teos10 - 1)).toBeLessThan(0.002);
  });
});
