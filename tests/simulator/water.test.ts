import { describe, expect, it } from 'vitest';
import { evaporationRate } from '../../simulator/world/evaporation.ts';
import { conductivity, densityKgPerLitre, latentHeat, saturationPressureKPa, specificHeat, surfacePressureKPa } from '../../simulator/world/water.ts';

describe('evaporation, within ±50 % of published rows (any formula is that uncertain)', () => {
  const within = (value: number, published: number): void => {
    expect(value).toBeGreaterThan(0.5 * published);
    expect(value).toBeLessThan(1.5 * published);
  };

  // Shah, ASHRAE Trans. 118 (2012) and 120 (2014), undisturbed pool, second-hand; kg/(m² h).
  it.each([[28, 28, 0.136], [28, 29, 0.1171]])('Shah: water %d °C, air %d °C at 50 %%', (waterC, airC, published) => {
    within(3600 * evaporationRate(saturationPressureKPa(waterC), 0.5 * saturationPressureKPa(airC), 0), published);
  });

  // Textbook exercise, second-hand: 0.0399 kg/s from 25 × 20 m at 0.5 m/s, humidity ratios 0.019826 and 0.0115.
  it('the textbook pool', () => {
    const pressure = (ratio: number): number => (101.325 * ratio) / (0.621945 + ratio);
    within(500 * evaporationRate(pressure(0.019826), pressure(0.0115), 0.5), 0.0399);
  });

  it('none into moister air', () => {
    expect(evaporationRate(1.5, 2, 1)).toBe(0);
  });
});

describe('properties of water', () => {
  // UNESCO TP44 p. 19: 999.96675 (0, 5 °C), 997.04796 (0, 25), 1023.34306 (35, 25); 998.205 (0, 20) computed from it; the line here claims 0.1 %.
  it.each([[0, 5, 0.99996675], [0, 25, 0.99704796], [35, 25, 1.02334306], [0, 20, 0.998205]])('density at S %d, %d °C', (salinity, waterC, published) => {
    expect(Math.abs(densityKgPerLitre(salinity, waterC) / published - 1)).toBeLessThan(0.001);
  });

  // UNESCO TP44 p. 37: 4044.8 (25, 20 °C), 3993.9 (35, 20), 4000.7 (35, 30).
  it.each([[25, 4044.8], [35, 3993.9], [35, 4000.7]])('specific heat at S %d', (salinity, published) => {
    expect(Math.abs(specificHeat(salinity) / published - 1)).toBeLessThan(0.002);
  });

  // IAPWS-95 by CoolProp 8.0.0: 2453.5 at 20 °C, 2441.7 at 25, 2429.8 at 30.
  it.each([[20, 2453.5], [25, 2441.7], [30, 2429.8]])('latent heat at %d °C', (waterC, published) => {
    expect(Math.abs(latentHeat(waterC) / 1000 / published - 1)).toBeLessThan(0.001);
  });

  // ASHRAE Handbook – Fundamentals 2017, ch. 1, Table 3 (second-hand): 3169.7 Pa at 25 °C.
  it('saturation pressure at 25 °C', () => {
    expect(Math.abs(saturationPressureKPa(25) / 3.1697 - 1)).toBeLessThan(0.004);
    expect(surfacePressureKPa(35, 25) / saturationPressureKPa(25)).toBeCloseTo(0.98, 2);
  });

  // Conductivity from salinity evaluated with GSW-C (ITS-90), mS/cm; the older formula here claims 0.5 %.
  it.each([[20, 20, 28.942], [20, 25, 32.091], [30, 20, 41.74785], [30, 25, 46.25324], [35, 20, 47.91804], [35, 25, 53.07103], [40, 25, 59.73393]])(
    'conductivity at S %d, %d °C',
    (salinity, waterC, reference) => {
      expect(Math.abs(conductivity(salinity, waterC) / reference - 1)).toBeLessThan(0.005);
    },
  );
});
