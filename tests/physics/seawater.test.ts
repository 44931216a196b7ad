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
    [25, 10, 4041.8],
    [25, 20, 4044.8],
    [25, 30, 4049.1],
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

  // Computed from TP44 with t as ITS-90 (check values §4.1): specific heat of both waters, densities, and the product that heat balances use.
  it.each([
    [20, 4181.6, 3993.9, 1024.762, 998.205, 4.0928],
    [25, 4179.4, 3997.7, 1023.341, 997.046, 4.091],
    [30, 4178.2, 4000.7, 1021.726, 995.649, 4.0876],
  ])('fresh and salt at %d °C', (celsius, fresh, salt, density, freshDensity, product) => {
    expect(Math.abs(specificHeatJPerKgK(0, celsius) - fresh)).toBeLessThanOrEqual(0.05 + 1e-9);
    expect(Math.abs(specificHeatJPerKgK(35, celsius) - salt)).toBeLessThanOrEqual(0.05 + 1e-9);
    expect(Math.abs(densityKgPerM3(35, celsius) - density)).toBeLessThanOrEqual(0.0005 + 1e-9);
    expect(Math.abs(densityKgPerM3(0, celsius) - freshDensity)).toBeLessThanOrEqual(0.0005 + 1e-9);
    expect(Math.abs((densityKgPerM3(35, celsius) * specificHeatJPerKgK(35, celsius)) / 1e6 - product)).toBeLessThanOrEqual(0.00005 + 1e-9);
  });

  // Sharqawy/Jamieson (coefficients from memory in the reference): another formula, within 0.2 %.
  it.each([[20, 3998.9], [25, 4000.8], [30, 4002.6]])('agrees with Sharqawy at %d °C', (celsius, other) => {
    expect(Math.abs(specificHeatJPerKgK(35, celsius) / other - 1)).toBeLessThan(0.002);
  });
});
