import { describe, expect, it } from 'vitest';
import { DAY, HOUR, MINUTE } from '../../../src/domain/duration.ts';
import topOffEmpty from '../../../src/rules/kinds/top-off-empty.ts';
import topOffLow, { consumption } from '../../../src/rules/kinds/top-off-low.ts';
import { equipment, point, ruleOf, setting } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';

const gauge = point('fill', 'gauge', { place: 'reservoir', equipmentId: 'reef/reservoir', everyMs: MINUTE });
const installed = { equipment: [equipment('top-off-reservoir', 'reservoir', { capacityLitres: 60 })], points: [gauge] };
const started = (settings: Record<string, unknown> = {}) => new Drive(ruleOf(topOffLow, 'reservoir', { ...installed, ruleSettings: [setting('top-off-low', 'reservoir', settings)] }), T0);

/** A reading in five minutes; `percent` by days since the start. @returns days until the first breach, or `null`. */
function run(drive: Drive, days: number, percent: (day: number) => number, fromDay = 0): number | null {
  let first: number | null = null;
  for (let atMs = T0 + fromDay * DAY; atMs < T0 + (fromDay + days) * DAY; atMs += 5 * MINUTE) {
    const day = (atMs - T0) / DAY;
    if (drive.reading(gauge.id, atMs, percent(day)).state === 'breached' && first === null) first = day;
  }
  return first;
}

describe('top-off-low', () => {
  it('is breached at 20 %, and clear again two percent above', () => {
    const drive = started();
    expect([20.1, 20, 21.9, 22.1, 21].map((percent, index) => drive.reading(gauge.id, T0 + index * 1000, percent).state)).toEqual(['clear', 'breached', 'breached', 'clear', 'clear']);
  });

  it('falls silent exactly where top-off-empty speaks: one cause rings once', () => {
    const low = started();
    const empty = new Drive(ruleOf(topOffEmpty, 'reservoir', installed), T0);
    const course = [30, 21, 20, 12, 5.1, 5, 3, 6.9, 7, 15, 23, 100];
    const both = course.map((percent, index) => [low.reading(gauge.id, T0 + index * 1000, percent).state, empty.reading(gauge.id, T0 + index * 1000, percent).state]);
    expect(both.filter((pair) => pair.every((one) => one === 'breached'))).toEqual([]);
    expect(both.map(([one]) => one)).toEqual(['clear', 'clear', 'breached', 'breached', 'breached', 'clear', 'clear', 'clear', 'breached', 'breached', 'clear', 'clear']);
    expect(both.map(([, other]) => other)).toEqual(['clear', 'clear', 'clear', 'clear', 'clear', 'breached', 'breached', 'breached', 'clear', 'clear', 'clear', 'clear']);
  });

  it('rings three days before it is empty at the measured consumption', () => {
    const drive = started();
    // 10 % a day from 100 %: empty (5 %) after 9.5 days, so three days are left after 6.5 days, at 35 %.
    const day = run(drive, 8, (days) => 100 - 10 * days);
    expect(day).toBeGreaterThan(6.4);
    expect(day).toBeLessThan(6.6);
    expect(evidenceOf(drive.verdict, 'Consumption')).toBe('10.0 % a day');
    expect(summaryOf(drive.verdict)).toMatch(/^reservoir is at 20 % \(12 L\), about 1\.5 days until it is empty at 10\.0 % a day$/);
  });

  it('does not take for consumption what was taken out at once', () => {
    // 5 % a day; in the middle somebody carries off most of it.
    const hours = Array.from({ length: 168 }, (_, hour): [number, number] => [hour, (hour < 84 ? 95 : 40) - (5 * hour) / 24]);
    // The hour in which it was taken counts as nothing: one in 84.
    expect(Math.abs((consumption(hours) ?? 0) - 5)).toBeLessThan(0.1);
    // Two days of a silent gauge are no such thing.
    expect(consumption(hours.filter(([hour]) => hour < 60).map(([hour, percent]): [number, number] => [hour < 30 ? hour : hour + 48, hour < 30 ? percent : percent - 10]))).toBeCloseTo(5, 1);
  });

  it('says how far to trust the days left: more days that differ, a wider range', () => {
    const even = started();
    run(even, 6.8, (days) => 100 - 10 * days);
    expect(evidenceOf(even.verdict, 'Empty in about')).toMatch(/^2\.7 days; in four cases of five 2\.[2-6] to [23]\.[0-9] \(low from 3\)$/);
    const left = (drive: Drive) => (drive.state as { forecast: { days: number; low: number; high: number } | null }).forecast;
    const uneven = started();
    // By a third more and less, two days each.
    run(uneven, 6.8, (days) => 100 - 10 * days - 2 * Math.sin((2 * Math.PI * days) / 4));
    const [calm, wild] = [left(even), left(uneven)];
    expect(calm).not.toBeNull();
    expect((wild?.high ?? 0) / (wild?.low ?? 1)).toBeGreaterThan(1.3 * ((calm?.high ?? 1) / (calm?.low ?? 1)));
  });

  it('counts only the percentage until it has two days of history', () => {
    const drive = started();
    expect(run(drive, 1.9, (days) => 60 - 20 * days)).toBeNull();
    expect(run(drive, 0.4, (days) => 60 - 20 * days, 1.9)).toBeCloseTo(2, 0);
    const young = started();
    young.reading(gauge.id, T0, 15);
    expect(evidenceOf(young.verdict, 'Consumption')).toBe('not known yet: it takes two days of history');
  });

  it('takes refills out of the consumption', () => {
    // 12 % a day, filled up every 2.5 days.
    const hours = Array.from({ length: 168 }, (_, hour) => [hour, 95 - ((hour % 60) / 24) * 12] as const);
    expect(consumption(hours)).toBeCloseTo(12, 0);
  });

  it('is not led astray by outliers', () => {
    const hours = Array.from({ length: 168 }, (_, hour) => [hour, 90 - (hour / 24) * 6 + (hour % 41 === 7 ? 1.5 : 0)] as const);
    expect(consumption(hours)).toBeCloseTo(6, 0);
  });

  it('does not take a gauge that stands still for a consumption', () => {
    expect(run(started(), 8, () => 30)).toBeNull();
  });

  it('can be told to mind the percentage only', () => {
    expect(run(started({ daysLeft: 0 }), 7.5, (days) => 100 - 10 * days)).toBeNull();
  });

  it('rings when it will not last until the next visit, and forgets a visit that is past or far off', () => {
    // Measured after two days: 75 % are left, 7 days at 10 % a day.
    expect(run(started({ nextVisit: '2026-03-12' }), 4, (days) => 95 - 10 * days)).toBeCloseTo(2, 0);
    const drive = started({ nextVisit: '2026-03-12' });
    run(drive, 3, (days) => 95 - 10 * days);
    expect(summaryOf(drive.verdict)).toMatch(/^reservoir is at 65 % \(39 L\), about 6\.\d days until it is empty at 10\.0 % a day, and the next visit is in 8\.5$/);
    expect(run(started({ nextVisit: '2026-03-08' }), 4, (days) => 95 - 10 * days)).toBeNull();
    expect(run(started({ nextVisit: '2026-02-20' }), 4, (days) => 95 - 10 * days)).toBeNull();
    expect(run(started({ nextVisit: '2026-06-20' }), 4, (days) => 95 - 10 * days)).toBeNull();
  });

  it('writes at most every ten minutes, and keeps no more than seven days', () => {
    const drive = started();
    let percent = 100;
    for (let atMs = T0; atMs < T0 + 20 * DAY; atMs += MINUTE) {
      percent = percent < 30 ? 100 : percent - 0.0071;
      drive.reading(gauge.id, atMs, percent);
    }
    expect(drive.writes).toBeLessThanOrEqual((20 * DAY) / (10 * MINUTE) + 20);
    expect(JSON.stringify(drive.state).length).toBeLessThan(4096);
  });

  it('is unknown without readings', () => {
    const drive = started();
    expect(whyOf(drive.verdict)).toBe('gauge has not delivered yet');
    drive.reading(gauge.id, T0, 10);
    expect(whyOf(drive.until(T0 + HOUR))).toBe('gauge has gone silent');
  });
});
