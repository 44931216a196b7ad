import { describe, expect, it } from 'vitest';
import { drift } from '../../src/physics/drift.ts';
import { rememberValue, type Stretches, stretchesStart } from '../../src/physics/stretches.ts';
import { Random } from './thermal/house.ts';

const HOUR = 3_600_000;

/** A salinity probe: hundredths, noise, a wander over half a day, a bubble now and then, a calibration that shifts it on the fourth day. */
function probe(seed: number, perDay: number, calibrated: boolean): Stretches {
  const random = new Random(seed);
  let memory = stretchesStart;
  let wander = 0;
  for (let minute = 0; minute < 8 * 1440; minute += 10) {
    const day = minute / 1440;
    wander = 0.98 * wander + 0.01 * random.normal();
    const bubble = random.next() < 0.01 ? -3 : 0;
    const shift = calibrated && day >= 4 ? 0.6 : 0;
    const value = Math.round((35 + perDay * day + wander + bubble + shift + 0.03 * random.normal()) * 100) / 100;
    memory = rememberValue(memory, minute * 60_000, value, calibrated && day >= 4 && day < 4.05);
  }
  return memory;
}

describe('drift', () => {
  it.each([false, true])('is found in its range in about four cases of five, calibration in between: %s', (calibrated) => {
    const seeds = Array.from({ length: 100 }, (_, i) => 3001 + i);
    const held = seeds.filter((seed) => {
      const found = drift(probe(seed, -0.08, calibrated), 0.01);
      return found.known && found.value.perDay.low <= -0.08 && found.value.perDay.high >= -0.08;
    }).length;
    expect(held).toBeGreaterThanOrEqual(70);
    expect(held).toBeLessThanOrEqual(95);
  });

  it('a drift of 0.08 a day is told from none within a week', () => {
    const seeds = Array.from({ length: 40 }, (_, i) => 4001 + i);
    const signs = seeds.map((seed) => {
      const found = drift(probe(seed, -0.08, false), 0.01);
      return found.known && found.value.perDay.high < 0;
    });
    expect(signs.filter(Boolean).length).toBeGreaterThan(36);
  });

  it('too little is refused', () => {
    let memory = stretchesStart;
    for (let hour = 0; hour < 30; hour += 1) memory = rememberValue(memory, hour * HOUR, 35, false);
    expect(drift(memory, 0.01)).toEqual({ known: false, why: '1.1 days without a visit or a calibration are there, and 2 are needed' });
    expect(drift(stretchesStart, 0.01).known).toBe(false);
  });

  it('since a time', () => {
    let memory = stretchesStart;
    for (let hour = 0; hour < 200; hour += 1) memory = rememberValue(memory, hour * HOUR, hour < 100 ? 35 : 35 + (hour - 100) * 0.01, false);
    const found = drift(memory, 0.01, 104 * HOUR);
    expect(found.known && found.value.perDay.value).toBeCloseTo(0.24, 3);
  });
});
