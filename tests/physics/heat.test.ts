import { describe, expect, it } from 'vitest';
import { LITRES_PER_US_GALLON } from '../../src/domain/units.ts';
import { heatCapacityWhPerK, lossFreeHours } from '../../src/physics/heat.ts';

describe('heat capacity of a body of water', () => {
  // Computed from TP44 density and specific heat at 25 °C in the reference (check values §4.5): arithmetic, not a measurement.
  it.each([
    ['100 L fresh', 100, 0, 115.8],
    ['200 L fresh', 200, 0, 231.5],
    ['200 L seawater', 200, 35, 227.3],
    ['200 US gal seawater', 200 * LITRES_PER_US_GALLON, 35, 860.3],
    ['100 US gal seawater', 100 * LITRES_PER_US_GALLON, 35, 430.2],
    ['300 US gal seawater', 300 * LITRES_PER_US_GALLON, 35, 1290.5],
  ])('%s', (_name, litres, salinity, expected) => {
    expect(Math.abs(heatCapacityWhPerK(litres, salinity, 25) - expected)).toBeLessThanOrEqual(0.05 + 0.01);
  });

  it('1 L of water warmed by 1 K takes the 4.18 kJ of every textbook (1.16 Wh)', () => {
    expect(heatCapacityWhPerK(1, 0, 20)).toBeCloseTo(1.16, 2);
  });
});

describe('loss-free warming', () => {
  // Computed (check values §4.5): K/h at 100 W.
  it.each([
    [100, 0, 0.864], [200, 0, 0.432], [200, 35, 0.44], [100 * LITRES_PER_US_GALLON, 35, 0.2325], [200 * LITRES_PER_US_GALLON, 35, 0.1162], [300 * LITRES_PER_US_GALLON, 35, 0.0775],
  ])('100 W in %d L of salinity %d: %d K/h', (litres, salinity, kelvin) => {
    const perHour = 1 / lossFreeHours(1, 100, heatCapacityWhPerK(litres, salinity, 25));
    expect(Math.abs(perHour - kelvin)).toBeLessThanOrEqual(kelvin > 0.3 ? 5e-4 : 5e-5);
  });

  it('300 W warm 100 US gal of seawater by 0.697 K in an hour (check values §4.5)', () => {
    const capacity = heatCapacityWhPerK(100 * LITRES_PER_US_GALLON, 35, 25);
    expect(lossFreeHours(0.697, 300, capacity)).toBeCloseTo(1, 2);
  });

  it('never gets there without power', () => {
    expect(lossFreeHours(1, 0, 430)).toBe(Number.POSITIVE_INFINITY);
  });
});
