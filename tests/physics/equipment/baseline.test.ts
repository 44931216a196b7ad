/** Baselines of equipment of known habit. The charts they are made of are held by their published examples in ../statistics/control-charts.test.ts. */
import { describe, expect, it } from 'vitest';
import { drawShift, type EquipmentFacts, type EquipmentMemory, equipmentStart, isFrozen, normalDraw, recentCycle, rememberDraw, startsWithin, usualCycle, usualDuty } from '../../../src/physics/equipment/baseline.ts';
import { Random } from '../thermal/house.ts';

const SECOND = 1000;
const MINUTE = 60 * SECOND;
const HOUR = 60 * MINUTE;
const DAY = 24 * HOUR;
const facts: EquipmentFacts = { onWatts: 5, partsChangedMs: null };

/** Feeds what `watts` says, every half minute. */
function feed(memory: EquipmentMemory, fromMs: number, toMs: number, watts: (atMs: number) => number, options: Partial<EquipmentFacts> & { healthy?: boolean; everyMs?: number } = {}): EquipmentMemory {
  let now = memory;
  for (let atMs = fromMs; atMs < toMs; atMs += options.everyMs ?? 30 * SECOND) {
    now = rememberDraw(now, { atMs, watts: watts(atMs), healthy: options.healthy ?? true }, { ...facts, ...options });
  }
  return now;
}

const pump = (random: Random, mean = 62): (() => number) => () => mean + 0.4 * random.normal();

describe('draw', () => {
  it('is not known before it has been seen for half a day', () => {
    const random = new Random(1);
    expect(normalDraw(feed(equipmentStart, 0, 11 * HOUR, pump(random)))).toBeNull();
    const normal = normalDraw(feed(equipmentStart, 0, 20 * HOUR, pump(random)));
    expect(normal?.watts).toBeCloseTo(62, 0);
    // Not below what a plug meter tells apart: 2 % of 62 W.
    expect(normal?.sigmaWatts).toBeCloseTo(1.24, 1);
  });

  it('a steady pump raises nothing in 60 days, over 30 seeds', () => {
    const shifts = Array.from({ length: 30 }, (_, seed) => {
      const random = new Random(100 + seed);
      let drift = 0;
      // Its draw wanders by 1 % with the level of the water, and over days.
      const watts = (): number => {
        drift = 0.999 * drift + 0.02 * random.normal();
        return 62 + drift + 0.5 * random.normal();
      };
      let memory = equipmentStart;
      let raised = 0;
      for (let day = 0; day < 60; day += 1) {
        memory = feed(memory, day * DAY, (day + 1) * DAY, watts, { everyMs: 10 * MINUTE });
        if (drawShift(memory) !== null) raised += 1;
      }
      return raised;
    });
    expect(shifts.filter((raised) => raised > 0)).toEqual([]);
  });

  it.each([['clogged: draws less', 52, 'down'], ['impeller worn: draws more', 70, 'up']] as const)('%s, is found within a day and does not become normal', (_what, watts, direction) => {
    const random = new Random(7);
    let memory = feed(equipmentStart, 0, 4 * DAY, pump(random));
    let foundAfterH: number | null = null;
    for (let hour = 0; hour < 24 * 21; hour += 1) {
      memory = feed(memory, 4 * DAY + hour * HOUR, 4 * DAY + (hour + 1) * HOUR, pump(random, watts), { everyMs: 2 * MINUTE });
      if (foundAfterH === null && drawShift(memory) !== null) foundAfterH = hour + 1;
    }
    expect(foundAfterH).not.toBeNull();
    expect(foundAfterH).toBeLessThanOrEqual(12);
    const shift = drawShift(memory);
    expect(shift?.direction).toBe(direction);
    expect(shift?.normal.watts).toBeCloseTo(62, 0);
    expect(shift?.recentWatts).toBeCloseTo(watts, 0);
    expect(isFrozen(memory)).toBe(true);
    // Back to normal, it thaws.
    memory = feed(memory, 25 * DAY, 27 * DAY, pump(random));
    expect(isFrozen(memory)).toBe(false);
  });

  it('nothing is learnt while it is not healthy', () => {
    const random = new Random(3);
    expect(normalDraw(feed(equipmentStart, 0, 3 * DAY, pump(random), { healthy: false }))).toBeNull();
    const memory = feed(feed(equipmentStart, 0, 2 * DAY, pump(random)), 2 * DAY, 5 * DAY, pump(random, 63), { healthy: false });
    expect(memory.draws.length).toBe(feed(equipmentStart, 0, 2 * DAY, pump(new Random(3))).draws.length);
  });

  it('parts changed: what was learnt is forgotten, once', () => {
    const random = new Random(5);
    const old = feed(equipmentStart, 0, 3 * DAY, pump(random));
    const changed = { partsChangedMs: 3 * DAY + 10 * MINUTE };
    const before = feed(old, 3 * DAY, 3 * DAY + 9 * MINUTE, pump(random), changed);
    expect(normalDraw(before)).not.toBeNull();
    const soon = feed(before, 3 * DAY + 9 * MINUTE, 3 * DAY + 2 * HOUR, pump(random, 80), changed);
    expect(normalDraw(soon)).toBeNull();
    const later = feed(soon, 3 * DAY + 2 * HOUR, 5 * DAY, pump(random, 80), changed);
    expect(normalDraw(later)?.watts).toBeCloseTo(80, 0);
    expect(drawShift(later)).toBeNull();
  });

  it('one wild hour neither shifts it nor is learnt', () => {
    const random = new Random(9);
    let memory = feed(equipmentStart, 0, 3 * DAY, pump(random));
    memory = feed(memory, 3 * DAY, 3 * DAY + HOUR, pump(random, 300));
    memory = feed(memory, 3 * DAY + HOUR, 3 * DAY + 2 * HOUR, pump(random));
    expect(drawShift(memory)).toBeNull();
    expect(Math.max(...memory.draws)).toBeLessThan(65);
  });
});

describe('cycle of a compressor', () => {
  /** 12 min on, 28 off; starts with four times its draw for 10 s. */
  const compressor = (atMs: number): number => {
    const inCycle = atMs % (40 * MINUTE);
    return inCycle < 10 * SECOND ? 1600 : inCycle < 12 * MINUTE ? 400 : 2;
  };

  it('runs, rests, starts and share of the day', () => {
    const memory = feed(equipmentStart, 0, 5 * DAY, compressor, { everyMs: 10 * SECOND });
    const cycle = usualCycle(memory);
    expect(cycle?.runMin.usual).toBeCloseTo(12, 1);
    expect(cycle?.restMin.usual).toBeCloseTo(28, 1);
    expect(startsWithin(memory, 5 * DAY - 1, 2 * HOUR)).toBe(3);
    expect(usualDuty(memory)?.percent).toBeCloseTo(30, 1);
    // The starting current does not count as its draw.
    expect(normalDraw(memory)?.watts).toBe(400);
  });

  it('a day of short cycles shows against the usual ones, and does not become them', () => {
    let memory = feed(equipmentStart, 0, 5 * DAY, compressor, { everyMs: 10 * SECOND });
    memory = feed(memory, 5 * DAY, 6 * DAY, (atMs) => (atMs % (5 * MINUTE) < 2 * MINUTE ? 400 : 2), { everyMs: 10 * SECOND });
    expect(recentCycle(memory)?.runMin.usual).toBeCloseTo(2, 1);
    expect(recentCycle(memory)?.restMin.usual).toBeCloseTo(3, 1);
    expect(usualCycle(memory)?.runMin.usual).toBeGreaterThan(9);
    expect(usualCycle(memory)?.restMin.usual).toBeGreaterThan(22);
    expect(startsWithin(memory, 6 * DAY - 1, HOUR)).toBe(12);
  });

  it('a season is followed: rests of half the length after a month', () => {
    let memory = feed(equipmentStart, 0, 5 * DAY, compressor, { everyMs: 30 * SECOND });
    memory = feed(memory, 5 * DAY, 35 * DAY, (atMs) => (atMs % (26 * MINUTE) < 12 * MINUTE ? 400 : 2), { everyMs: 30 * SECOND });
    expect(usualCycle(memory)?.restMin.usual).toBeCloseTo(14, 0);
  });

  it('a silence makes no run, and a day that was not seen has no share', () => {
    let memory = feed(equipmentStart, 0, 2 * HOUR, compressor, { everyMs: 10 * SECOND });
    const runs = memory.runs.lastMin.length;
    memory = feed(memory, 30 * HOUR, 30 * HOUR + 10 * MINUTE, compressor, { everyMs: 10 * SECOND });
    expect(memory.runs.lastMin.length).toBe(runs);
    expect(memory.dutiesPercent).toEqual([]);
    expect(usualDuty(memory)).toBeNull();
    expect(usualCycle(feed(equipmentStart, 0, HOUR, compressor))).toBeNull();
  });
});

it('stays below 2 kB of JSON, whatever the cadence, and goes on from it', () => {
  const random = new Random(11);
  let memory = feed(equipmentStart, 0, 6 * DAY, (atMs) => (atMs % (10 * MINUTE) < 4 * MINUTE ? 62.34 + random.normal() : 0.5), { everyMs: 10 * SECOND });
  memory = feed(memory, 20 * DAY, 20 * DAY + 2 * HOUR, pump(random), { everyMs: SECOND });
  const text = JSON.stringify(memory);
  expect(text.length).toBeLessThan(2000);
  const again: unknown = JSON.parse(text);
  expect(again).toEqual(memory);
});

it('readings that are repeated or late change nothing', () => {
  const memory = feed(equipmentStart, 0, HOUR, () => 60);
  expect(rememberDraw(memory, { atMs: 1000, watts: 0, healthy: true }, facts)).toBe(memory);
});
