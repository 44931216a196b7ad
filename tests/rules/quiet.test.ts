import { describe, expect, it } from 'vitest';
import { between, quietWithin, sameDraw } from '../../src/rules/quiet.ts';

const holds = ([low, high]: readonly [number, number], value: number): boolean => value >= low && value <= high;

describe('values on the same side of marks', () => {
  it('reach from the nearest mark below to the nearest above, without the marks themselves', () => {
    const band = between(25, 22, 24, 29, 40);
    expect([24, 24.001, 25, 28.999, 29].map((value) => holds(band, value))).toEqual([false, true, true, true, false]);
    expect(holds(between(0, 10, 5), -1e9)).toBe(true);
    expect(holds(between(0, 10, 5), 5)).toBe(false);
    expect(between(25)).toEqual([Number.NEGATIVE_INFINITY, Number.POSITIVE_INFINITY]);
  });

  it('are none for a value that lies on a mark, and a mark that is no number says nothing', () => {
    expect(holds(between(5, 5), 5)).toBe(false);
    expect(between(25, Number.NaN)).toEqual([Number.NEGATIVE_INFINITY, Number.POSITIVE_INFINITY]);
  });
});

describe('a draw that goes on', () => {
  it('is told by a meter of power or a switch, under the prefix of its piece, and by nothing else', () => {
    const watts = sameDraw({ by: 'power', watts: 100, marginWatts: 0, atMs: 0 }, [20, 10], 'heater-1.');
    expect(Object.keys(watts ?? {})).toEqual(['heater-1.power']);
    expect([15, 20, 21, 400].map((value) => holds(watts?.['heater-1.power'] ?? [0, 0], value))).toEqual([false, false, true, true]);
    expect([0, 1].map((value) => holds(sameDraw({ by: 'switch', on: true, atMs: 0 }, [20])?.['switch'] ?? [0, 0], value))).toEqual([false, true]);
    expect(sameDraw({ by: 'energy', watts: 100, marginWatts: 5, atMs: 0 }, [20])).toBeNull();
    expect(sameDraw({ by: null, why: 'needs two readings' }, [20])).toBeNull();
    expect(quietWithin(null)).toBeUndefined();
  });
});
