import { describe, expect, it } from 'vitest';
import { dryAirKgPerM3, humidityRatio, if97SaturationPa, latentHeatJPerKg, pressureAtAltitudePa, saturationPressurePa } from '../../src/physics/air.ts';
import type { Known } from '../../src/physics/known.ts';

const value = (known: Known<number>): number => {
  if (!known.known) throw new Error(known.why);
  return known.value;
};

describe('saturated vapour', () => {
  // IAPWS-IF97, Table 35 (second-hand, the same in many public test suites), MPa.
  it.each([[300, 0.353658941e-2], [500, 0.263889776e1], [600, 0.123443146e2]])('%d K (IAPWS-IF97 Table 35)', (kelvin, mpa) => {
    expect(Math.abs(if97SaturationPa(kelvin) / 1e6 / mpa - 1)).toBeLessThanOrEqual(0.5e-8);
  });

  // ASHRAE Handbook - Fundamentals 2017, ch. 1, Table 3, as quoted in the PsychroLib test suite; ASHRAE claims 300 ppm (second-hand).
  it.each([[5, 872.6], [25, 3169.7], [50, 12351.3], [100, 101418.0]])('%d °C (ASHRAE Table 3)', (celsius, pa) => {
    expect(Math.abs(value(saturationPressurePa(celsius)) / pa - 1)).toBeLessThanOrEqual(3e-4);
  });

  // IAPWS-95 evaluated with CoolProp 8.0.0; same tolerance.
  it.each([[0.01, 611.66], [20, 2339.32], [24, 2985.8], [25, 3169.93], [26, 3363.89], [28, 3783.05], [30, 4246.97], [100, 101418]])('%d °C (IAPWS-95)', (celsius, pa) => {
    expect(Math.abs(value(saturationPressurePa(celsius)) / pa - 1)).toBeLessThanOrEqual(3e-4);
  });

  // WMO/Magnus and Tetens (computed, coefficients from memory): other formulas, 0.4 % apart at most.
  it.each([[20, 2332.6, 2338.21], [25, 3160.06, 3167.67], [30, 4233.72, 4242.93]])('%d °C, Magnus and Tetens', (celsius, magnus, tetens) => {
    expect(Math.abs(value(saturationPressurePa(celsius)) / magnus - 1)).toBeLessThanOrEqual(4e-3);
    expect(Math.abs(value(saturationPressurePa(celsius)) / tetens - 1)).toBeLessThanOrEqual(4e-3);
  });

  it('says where it does not hold', () => {
    expect(saturationPressurePa(-1)).toMatchObject({ known: false, why: 'the water is -1 °C, and the formula holds from 0 to 100 °C' });
  });
});

describe('humidity ratio', () => {
  // ASHRAE Handbook - Fundamentals 2017, ch. 1, Table 2, as quoted in the PsychroLib test suite. The table is for real gases, which
  // hold 0.4-0.5 % more than the ideal ones of the formula: hence the tolerance.
  it.each([[25, 0.020173], [5, 0.005425]])('saturated at %d °C', (celsius, ratio) => {
    expect(Math.abs(value(humidityRatio(celsius, 100)) / ratio - 1)).toBeLessThanOrEqual(5e-3);
  });

  it('is none in dry air, and unknown beyond saturation', () => {
    expect(value(humidityRatio(25, 0))).toBe(0);
    expect(humidityRatio(25, 101).known).toBe(false);
    expect(humidityRatio(100, 100, 101_000)).toMatchObject({ known: false, why: 'at this pressure the water boils' });
  });
});

describe('latent heat', () => {
  // IAPWS-95 evaluated with CoolProp 8.0.0, kJ/kg; Sharqawy et al. agree within 0.15 kJ/kg (the last digit printed adds 0.05).
  it.each([[10, 2477.2], [20, 2453.5], [22, 2448.8], [24, 2444.0], [25, 2441.7], [26, 2439.3], [28, 2434.6], [30, 2429.8], [100, 2256.4]])('%d °C', (celsius, kj) => {
    expect(Math.abs(value(latentHeatJPerKg(celsius)) / 1000 - kj)).toBeLessThanOrEqual(0.15 + 0.05);
  });

  // TEOS-10 latentheat_evap_t, evaluated with GSW-C: 0.1 % lower.
  it('TEOS-10 agrees within 0.15 %', () => {
    expect(Math.abs(value(latentHeatJPerKg(25)) / 2.439e6 - 1)).toBeLessThanOrEqual(1.5e-3);
  });

  // Computed: check values §4.2.
  it('a kilogram a day at 25 °C is 28.26 W, a US gallon 106.7 W', () => {
    const watts = value(latentHeatJPerKg(25)) / 86_400;
    expect(watts).toBeCloseTo(28.26, 2);
    expect(watts * 3.785411784 * 0.997046).toBeCloseTo(106.7, 0);
  });
});

it('thins out with altitude: 84.6 kPa at 1500 m, 70.1 at 3000 m (ICAO standard atmosphere, from memory)', () => {
  expect(value(pressureAtAltitudePa(0))).toBe(101_325);
  expect(value(pressureAtAltitudePa(1500)) / 1000).toBeCloseTo(84.6, 1);
  expect(value(pressureAtAltitudePa(3000)) / 1000).toBeCloseTo(70.1, 1);
  expect(pressureAtAltitudePa(9000).known).toBe(false);
});

// Shah, table second-hand: the difference of the densities of dry air, 28 °C water, 28 and 29 °C rooms at 50 %.
it.each([[28, 0.0219], [29, 0.0168]])('dry air is denser in a room of %d °C than over the water by %d kg/m³', (airC, difference) => {
  expect(Math.abs(value(dryAirKgPerM3(airC, 50)) - value(dryAirKgPerM3(28, 100)) - difference)).toBeLessThanOrEqual(5e-5 + 1e-12);
});
