import { expect, it } from 'vitest';
import { waterBy } from '../../src/rules/water.ts';

/** @param said °C by role; `null`: silent. @param doubted roles that another rule finds wrong; they have no current value. */
const context = (said: Readonly<Record<string, number | null>>, doubted: readonly string[] = []) => ({
  current: (role: string) => {
    const value = doubted.includes(role) ? null : (said[role] ?? null);
    return value === null ? null : { atMs: 0, value };
  },
  doubted: (role: string) => (doubted.includes(role) ? 'it has jumped' : null),
});

it('takes the thermometer that speaks against the complaint', () => {
  expect(waterBy(context({ water: 25, second: 26 }), 'warmest')?.value).toBe(26);
  expect(waterBy(context({ water: 25, second: 26 }), 'coldest')?.value).toBe(25);
  expect(waterBy(context({ water: 25 }), 'warmest')?.value).toBe(25);
});

it('lets the second stand in for one that is found wrong, never for one that is silent', () => {
  expect(waterBy(context({ water: 31, second: 25 }, ['water']), 'warmest')?.value).toBe(25);
  expect(waterBy(context({ water: 25, second: 31 }, ['second']), 'warmest')?.value).toBe(25);
  expect(waterBy(context({ water: null, second: 25 }), 'warmest')).toBeNull();
  expect(waterBy(context({ water: 31 }, ['water']), 'warmest')).toBeNull();
});
