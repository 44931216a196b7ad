import { describe, expect, it } from 'vitest';
import topOffEmpty from '../../../src/rules/kinds/top-off-empty.ts';
import type { Equipment, Point } from '../../../src/domain/fleet.ts';
import { equipment, point, ruleOf } from '../fleet.ts';
import { Drive, summaryOf, T0, whyOf } from '../drive.ts';

const gauge = (kind: 'level' | 'fill' | 'volume', facts: Partial<Point> = {}) => point(kind, 'gauge', { place: 'reservoir', equipmentId: 'reef/reservoir', ...facts });
const started = (points: readonly Point[], reservoir: Partial<Equipment> = {}) =>
  new Drive(ruleOf(topOffEmpty, 'reservoir', { equipment: [equipment('top-off-reservoir', 'reservoir', { capacityLitres: 60, fullMm: 400, ...reservoir })], points }), T0);

describe('top-off-empty', () => {
  // 5 % of 400 mm, of 60 L, of 100 %.
  it.each([
    ['level', 20, 20.1],
    ['volume', 3, 3.01],
    ['fill', 5, 5.1],
  ] as const)('is breached at 5 %%, measured as %s', (kind, empty, notEmpty) => {
    const drive = started([gauge(kind)]);
    expect(drive.reading('reef/gauge', T0, notEmpty).state).toBe('clear');
    expect(drive.reading('reef/gauge', T0 + 1, empty).state).toBe('breached');
  });

  it('is clear again two percent above', () => {
    const drive = started([gauge('fill')]);
    expect([4, 6.9, 7, 6].map((percent, index) => drive.reading('reef/gauge', T0 + index, percent).state)).toEqual(['breached', 'breached', 'clear', 'clear']);
  });

  it('says how much is left', () => {
    expect(summaryOf(started([gauge('level')]).reading('reef/gauge', T0, 16))).toBe('reservoir is at 4 % (2.4 L); empty from 5 % down');
    expect(summaryOf(started([gauge('level')]).reading('reef/gauge', T0, -8))).toContain('reservoir is at 0 %');
  });

  it('finds the gauge by its place when it is not tied to the reservoir', () => {
    expect(started([gauge('fill', { equipmentId: null })]).reading('reef/gauge', T0, 3).state).toBe('breached');
  });

  it('is unknown without what it needs', () => {
    expect(whyOf(started([]).verdict)).toBe('no level, fill or volume point on reservoir');
    expect(whyOf(started([gauge('level')], { fullMm: null }).verdict)).toBe('gauge is a level, and no full level is entered for reservoir (full: 400 mm)');
    expect(whyOf(started([gauge('volume')], { capacityLitres: null }).verdict)).toContain('no capacity is entered');
    const drive = started([gauge('fill')]);
    expect(whyOf(drive.verdict)).toBe('gauge has not delivered yet');
    drive.reading('reef/gauge', T0, 3);
    expect(whyOf(drive.until(T0 + 601_000))).toBe('gauge has gone silent');
  });

  it('writes only when it empties or fills', () => {
    const drive = started([gauge('fill')]);
    for (let index = 0; index < 100; index += 1) drive.reading('reef/gauge', T0 + index, 50);
    expect(drive.writes).toBe(0);
    for (let index = 100; index < 200; index += 1) drive.reading('reef/gauge', T0 + index, 3);
    expect(drive.writes).toBe(1);
  });
});
