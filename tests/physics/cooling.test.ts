import { describe, expect, it } from 'vitest';
import { temperatureAfter, timeToReach } from '../../src/physics/cooling.ts';

describe("Newton's law of cooling, worked examples", () => {
  // Textbook exercise: 375 °F into a 72 °F room, 215 °F at 15 min; 120 °F at 36.8 min, k = 0.05006 /min (computed 0.050059, 36.81).
  it('pie', () => {
    const k = 1 / (15 / Math.log((375 - 72) / (215 - 72)));
    expect(Math.abs(k - 0.05006)).toBeLessThanOrEqual(5e-6);
    expect(Math.abs(timeToReach(375, 120, 72, k) - 36.8)).toBeLessThanOrEqual(0.05);
  });

  // Textbook exercise: 207 °F, room 69 °F, 138 °F at 20 min; k = 0.03465, 110.03 °F at 35 min.
  it('cake', () => {
    // It halves its distance in 20 min.
    const k = Math.LN2 / 20;
    // Printed cut off, not rounded: ln 2 / 20 = 0.034657.
    expect(Math.floor(k * 1e5) / 1e5).toBe(0.03465);
    expect(Math.abs(temperatureAfter(207, 69, k, 35) - 110.03)).toBeLessThanOrEqual(0.005);
  });

  // OpenStax (from memory): 165 °F, 35 °F, 150 °F at 10 min; 70 °F at about 107 min (computed 107.03).
  it('cheesecake', () => {
    const k = Math.log((165 - 35) / (150 - 35)) / 10;
    expect(Math.abs(timeToReach(165, 70, 35, k) - 107.03)).toBeLessThanOrEqual(0.005);
  });

  // OpenStax (from memory): 40 °F, room 70 °F, 45 °F at 1 h; 60 °F at 6.026 h (computed 6.0257).
  it('pitcher warms', () => {
    const k = Math.log(30 / 25);
    expect(Math.abs(timeToReach(40, 60, 70, k) - 6.026)).toBeLessThanOrEqual(5e-4);
  });
});

// Computed (check values §4.6): 200 US gal of S = 35 (860.3 Wh/K), UA = 50 W/K: τ = 17.2 h.
describe('a tank', () => {
  const rate = 50 / 860.3;

  it('power off at 26 °C in a room of 20 °C: 24 °C after 6.98 h, at 0.349 K/h at first', () => {
    expect(1 / rate).toBeCloseTo(17.2, 1);
    expect(timeToReach(26, 24, 20, rate)).toBeCloseTo(6.98, 2);
    expect((26 - temperatureAfter(26, 20, rate, 0.001)) / 0.001).toBeCloseTo(0.349, 3);
  });

  it('500 W stuck on in a room of 22 °C: ends at 32 °C, 26 to 28 °C in 6.98 h', () => {
    expect(22 + 500 / 50).toBe(32);
    expect(timeToReach(26, 28, 32, rate)).toBeCloseTo(6.98, 2);
  });

  it('never gets where it does not go', () => {
    expect(timeToReach(26, 19, 20, rate)).toBe(Number.POSITIVE_INFINITY);
    expect(timeToReach(26, 20, 20, rate)).toBe(Number.POSITIVE_INFINITY);
    expect(timeToReach(26, 27, 20, rate)).toBe(Number.POSITIVE_INFINITY);
    expect(timeToReach(26, 24, 20, 0)).toBe(Number.POSITIVE_INFINITY);
    expect(timeToReach(26, 26, 20, rate)).toBe(0);
  });
});
