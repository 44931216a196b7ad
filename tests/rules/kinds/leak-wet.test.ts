import { describe, expect, it } from 'vitest';
import type { Point } from '../../../src/domain/fleet.ts';
import leakWet from '../../../src/rules/kinds/leak-wet.ts';
import { compileRules } from '../../../src/rules/compile.ts';
import { fleet, point, ruleOf, setting } from '../fleet.ts';
import { Drive, summaryOf, T0, whyOf } from '../drive.ts';

const pad = point('switch', 'leak-pad', { place: 'floor' });
const started = (settings: Record<string, unknown> = {}) => new Drive(ruleOf(leakWet, 'leak-pad', { points: [pad], ruleSettings: [setting('leak-wet', 'leak-pad', settings)] }), T0);
const watched = (...points: Point[]) => compileRules(fleet({ points }), new Map([['leak-wet', leakWet]])).map(({ subject }) => subject);

describe('leak-wet', () => {
  it('is breached while the sensor is wet, and writes when it changes only', () => {
    const drive = started();
    expect([0, 0, 1, 1, 1, 0].map((value, index) => drive.reading(pad.id, T0 + index * 60_000, value).state)).toEqual(['clear', 'clear', 'breached', 'breached', 'breached', 'clear']);
    expect(drive.writes).toBe(2);
    drive.reading(pad.id, T0 + 600_000, 1);
    expect(summaryOf(drive.verdict)).toBe('leak-pad is wet');
  });

  it('reads a sensor that opens its contact when wet', () => {
    const drive = started({ wetWhen: 'off' });
    expect([drive.reading(pad.id, T0, 1).state, drive.reading(pad.id, T0 + 1, 0).state]).toEqual(['clear', 'breached']);
  });

  it('watches switches on the floor, and those in the room that are called so; no door, float or outlet', () => {
    expect(watched(pad, point('switch', 'wet', { place: 'room' }), point('switch', 'door', { place: 'room' }), point('switch', 'float', { place: 'sump' }), point('switch', 'outlet', { equipmentId: 'reef/leak', place: 'equipment' }))).toEqual(['reef/leak-pad', 'reef/wet']);
  });

  it('rings a minute after it got wet, at any hour', () => {
    expect(started() && ruleOf(leakWet, 'leak-pad', { points: [pad] }).policy).toMatchObject({ priority: 'urgent', onDelayMs: 60_000 });
  });

  it('is unknown when it is silent', () => {
    const drive = started();
    expect(whyOf(drive.verdict)).toBe('leak-pad has not delivered yet');
    drive.reading(pad.id, T0, 1);
    expect(whyOf(drive.until(T0 + 700_000))).toBe('leak-pad has gone silent');
  });
});
