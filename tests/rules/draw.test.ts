import { describe, expect, it } from 'vitest';
import type { Latest } from '../../src/rules/contract.ts';
import { type DrawContext, drawRoles, isDrawing, missingDraw, readDraw, showDraw } from '../../src/rules/draw.ts';
import { equipment, point, reef, site } from './fleet.ts';

type Kind = 'power' | 'current' | 'energy' | 'switch' | 'voltage';

/** What is installed, as [previous, latest] readings, oldest first; an empty list is a point that has not delivered. */
function context(installed: Partial<Record<Kind, readonly Latest[]>>, nowMs = 60_000): DrawContext {
  const points = new Map(Object.keys(installed).map((role) => [role, point(role as Kind, `a-${role}`)]));
  const latest = (role: string) => installed[role as Kind]?.at(-1) ?? null;
  return {
    point: (role) => points.get(role) ?? null,
    latest,
    previous: (role) => installed[role as Kind]?.at(-2) ?? null,
    current: (role) => {
      const reading = latest(role);
      return reading !== null && nowMs - reading.atMs <= 600_000 ? reading : null;
    },
  };
}

const at = (atMs: number, value: number): Latest => ({ atMs, value });

describe('reading the draw', () => {
  it('prefers power, then current, then the counter, then the switch', () => {
    const all = { power: [at(60_000, 100)], current: [at(60_000, 2)], energy: [at(0, 1), at(60_000, 1.001)], switch: [at(60_000, 0)] };
    expect(readDraw(context(all), 120).by).toBe('power');
    expect(readDraw(context({ ...all, power: [] }), 120).by).toBe('current');
    expect(readDraw(context({ ...all, power: [], current: [] }), 120).by).toBe('energy');
    expect(readDraw(context({ ...all, power: [], current: [], energy: [] }), 120)).toEqual({ by: 'switch', on: false, atMs: 60_000 });
  });

  it('passes over a meter that has gone silent', () => {
    expect(readDraw(context({ power: [at(0, 500)], switch: [at(700_000, 0)] }, 700_000), 120)).toEqual({ by: 'switch', on: false, atMs: 700_000 });
  });

  it('takes current for power with the measured voltage, or an assumed one', () => {
    expect(readDraw(context({ current: [at(60_000, 2)] }), 230)).toMatchObject({ watts: 460 });
    expect(readDraw(context({ current: [at(60_000, 2)], voltage: [at(60_000, 118)] }), 230)).toMatchObject({ watts: 236 });
  });

  it('takes the mean between two readings of a counter, give or take a count', () => {
    // 2.5 Wh in a minute are 150 W; one count of 0.1 Wh is 6 W.
    const draw = readDraw(context({ energy: [at(0, 12.3401), at(60_000, 12.3426)] }), 120);
    expect(draw.by).toBe('energy');
    if (draw.by !== 'energy') return;
    expect(draw.watts).toBeCloseTo(150, 6);
    expect(draw.marginWatts).toBeCloseTo(6, 6);
  });

  it('leaves a counter undecided that counts too coarsely for its cadence', () => {
    // One count of 0.01 kWh in a minute is 600 W: neither "on at 100 W" nor "off" follows.
    const draw = readDraw(context({ energy: [at(0, 12.34), at(60_000, 12.34)] }), 120);
    expect(isDrawing(draw, 100)).toBeNull();
    expect(isDrawing(draw, 700)).toBe(false);
  });

  it('counts across a roll-over', () => {
    // 0.01 kWh short of 655.36 (16 bits of 0.01 kWh), and one count: 0.02 kWh in a minute is 1,200 W.
    expect(readDraw(context({ energy: [at(0, 655.35), at(60_000, 0.01)] }), 120)).toMatchObject({ by: 'energy', watts: expect.closeTo(1200, 6) });
  });

  it.each([
    ['was reset', [at(0, 77.7), at(60_000, 0.1)], /was reset between/],
    ['went back', [at(0, 77.7), at(60_000, 70.1)], /went back, and neither a reset nor a roll-over explains it/],
    ['was silent in between', [at(0, 1), at(700_000, 1.2)], /was silent between/],
    ['has one reading only', [at(60_000, 1)], /needs two readings/],
    ['jumped', [at(0, 1), at(60_000, 400)], /jumped/],
  ])('knows nothing for the interval in which a counter %s', (_name, readings, why) => {
    const draw = readDraw(context({ energy: readings }, readings.at(-1)?.atMs), 120);
    expect(draw.by).toBeNull();
    if (draw.by === null) expect(draw.why).toMatch(why);
  });

  it('says which point is missing its readings', () => {
    expect(readDraw(context({ power: [] }), 120)).toEqual({ by: null, why: 'a-power has not delivered yet' });
    expect(readDraw(context({ power: [at(0, 1)] }, 700_000), 120)).toEqual({ by: null, why: 'a-power has gone silent' });
  });

  it('decides on and off at the threshold', () => {
    const draws = (watts: number) => isDrawing({ by: 'power', watts, marginWatts: 0, atMs: 0 }, 15);
    expect([14.9, 15].map(draws)).toEqual([false, true]);
    expect(isDrawing({ by: 'switch', on: true, atMs: 0 }, 15)).toBe(true);
    expect(showDraw({ by: 'power', watts: 497.6, marginWatts: 0, atMs: 0 })).toBe('498 W');
  });
});

describe('finding the meters', () => {
  const heater = equipment('heater', 'heater-1');
  const own = { equipmentId: heater.id };
  const facts = (...points: ReturnType<typeof point>[]) => ({ tank: reef, site, equipment: [heater], points, neighbours: { equipment: [], points: [] } });

  it('takes those of the equipment, and the voltage of the site where only a current is measured', () => {
    const voltage = point('voltage', 'mains', { id: 'harbor-lobby/mains', tankId: null, place: 'room' });
    expect(drawRoles(facts(point('current', 'amps', own), voltage, point('power', 'other')), heater)).toEqual({ current: 'reef/amps', voltage: 'harbor-lobby/mains' });
    expect(drawRoles(facts(point('power', 'watts', own), voltage), heater)).toEqual({ power: 'reef/watts' });
  });

  it('says when there is none', () => {
    expect(missingDraw(facts(), heater)).toBe('no power, current, energy or switch point on heater-1');
  });
});
