import { describe, expect, it } from 'vitest';
import { weatherBand } from '../../../src/physics/top-off/weather.ts';

describe('what the air of a room does to evaporation', () => {
  it('is little over warm water', () => {
    // Saturation pressures (Pa) at 26 and 22 °C: 3364 and 2645 (published, check-values).
    const { least, most } = weatherBand(225, 26, 22);
    expect(least).toBeCloseTo((3364 - 0.6 * 2645) / (3364 - 0.3 * 2645), 2);
    expect(most).toBeCloseTo(1 / least, 6);
    expect(most).toBeLessThan(1.6);
  });

  it('is everything over water near the dew point of the room', () => {
    // At 13 °C 1498 Pa: the air of 22 °C holds as much at 57 %.
    const { least, most, mostLitresPerDay } = weatherBand(750, 13, 22);
    expect(least).toBe(0);
    expect(most).toBe(Number.POSITIVE_INFINITY);
    // In the driest air less than half of what a warm tank of its size takes at most (1.5 % of the volume a day, common practice).
    expect(mostLitresPerDay).toBeGreaterThan(3);
    expect(mostLitresPerDay).toBeLessThan(0.5 * 0.015 * 750);
  });

  it('is nothing over water colder than any dew point', () => {
    expect(weatherBand(750, 1, 28)).toMatchObject({ least: 0, most: Number.POSITIVE_INFINITY, mostLitresPerDay: 0 });
  });
});
