import { describe, expect, it } from 'vitest';
import { balance, type BalanceInput, expectedSalinityPerDay, salinityAfter } from '../../../src/physics/top-off/balance.ts';
import type { Estimate } from '../../../src/physics/estimate.ts';

const about = (value: number, reach: number): Estimate => ({ value, low: value - reach, high: value + reach });

// Computed (check values §9.2), from a salinity of 35.
it.each([[-0.01, 35.35], [-0.02, 35.71], [-0.05, 36.84], [0.05, 33.33]])('fresh water by %d of the volume: %d', (share, salinity) => {
  expect(Math.abs(salinityAfter(35, share) - salinity)).toBeLessThanOrEqual(0.005 + 1e-9);
});

it('1 % a day that nothing replaces is 0.35 a day', () => {
  expect(expectedSalinityPerDay(35, 800, 8, 0)).toBeCloseTo(0.35, 9);
  expect(expectedSalinityPerDay(35, 800, 8, 8)).toBe(0);
});

describe('which balance does not close', () => {
  /** A tank of 800 L at 35, integrated day by day: what evaporates, what leaks, what is topped up. */
  function tank(evaporated: number, leaked: number, toppedUp: number, days = 4): BalanceInput {
    let litres = 800;
    let salt = 35 * 800;
    const start = salt / litres;
    for (let minute = 0; minute < days * 1440; minute += 1) {
      salt -= (salt / litres) * (leaked / 1440);
      litres += (toppedUp - evaporated - leaked) / 1440;
    }
    return {
      systemLitres: 800,
      salinity: start,
      salinityPerDay: about((salt / litres - start) / days, 0.03),
      topOffLitresPerDay: about(toppedUp, 0.5),
      storedLitresPerDay: about((litres - 800) / days, 0.3),
      evaporationLitresPerDay: { low: 4, likely: 8, high: 12 },
    };
  }

  it.each([
    ['a quiet tank', tank(8, 0, 8), 'closes', 0],
    ['a skimmer that overflows', tank(8, 4, 12), 'salt-water-lost', 4],
    ['a leak, and a top-off that keeps up in half', tank(8, 6, 11), 'salt-water-lost', 6],
    ['a line that drips beside the tank', { ...tank(8, 0, 8), topOffLitresPerDay: about(16, 0.5) }, 'fresh-water-lost', 0],
    ['a top-off that stopped, with a sump nobody measures', { ...tank(8, 0, 0), storedLitresPerDay: about(0, 0.3) }, 'not-replaced', -8],
    // Where the sump shows that it falls, the water balance closes: nothing is lost that is not seen to be missing.
    ['a top-off that stopped, with a sump that is measured', tank(8, 0, 0), 'closes', 0],
  ])('%s', (_what, input, verdict, lost) => {
    const found = balance(input);
    expect(found.known && found.value.verdict).toBe(verdict);
    if (found.known) {
      expect(Math.abs(found.value.lostLitresPerDay.value - lost)).toBeLessThan(0.6);
      expect(found.value.lostLitresPerDay.low).toBeLessThan(lost + 0.01);
      expect(found.value.lostLitresPerDay.high).toBeGreaterThan(lost - 0.01);
    }
  });

  it('without an idea of evaporation it cannot tell a dripping line', () => {
    const found = balance({ ...tank(8, 0, 8), topOffLitresPerDay: about(16, 0.5), evaporationLitresPerDay: null });
    expect(found.known && found.value.verdict).toBe('closes');
  });

  it('fresh water tells nothing', () => {
    expect(balance({ ...tank(8, 0, 8), salinity: 0.3 })).toEqual({ known: false, why: 'a salinity of 0.3 tells nothing of where water goes' });
    expect(balance({ ...tank(8, 0, 8), systemLitres: 0 }).known).toBe(false);
  });
});
