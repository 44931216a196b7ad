import { describe, expect, it } from 'vitest';
import { DAY, HOUR, MINUTE } from '../../../src/domain/duration.ts';
import temperatureDrift from '../../../src/rules/kinds/temperature-drift.ts';
import { point, ruleOf } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';

const water = point('temperature', 'display-temperature');
const started = () => new Drive(ruleOf(temperatureDrift, 'display-temperature', { points: [water] }), T0);

/** A reading in ten minutes, with a daily swing of 1 K and some noise. @returns the first and the last day on which it was breached. */
function run(drive: Drive, days: number, usual: (day: number) => number, fromDay = 0): readonly [number | null, number | null] {
  let first: number | null = null;
  let last: number | null = null;
  for (let atMs = T0 + fromDay * DAY; atMs < T0 + (fromDay + days) * DAY; atMs += 10 * MINUTE) {
    const day = (atMs - T0) / DAY;
    const { state } = drive.reading(water.id, atMs, usual(day) + 0.5 * Math.sin(day * 2 * Math.PI) + 0.03 * Math.sin(day * 7919));
    if (state !== 'breached') continue;
    first ??= Math.floor(day);
    last = Math.floor(day);
  }
  return [first, last];
}

describe('temperature-drift', () => {
  it('finds a tenth of a kelvin a day within two weeks, and gets used to where it ends', () => {
    const drive = started();
    const [first, last] = run(drive, 60, (day) => 25 + 0.12 * Math.max(0, Math.min(20, day - 10)));
    // 1 K after 8.3 days; the four days cost some more.
    expect(first).toBeGreaterThanOrEqual(18);
    expect(first).toBeLessThanOrEqual(24);
    expect(last).toBeGreaterThan(30);
    expect(last).toBeLessThan(50);
  });

  it('says from where to where', () => {
    const drive = started();
    run(drive, 21, (day) => 25 - 0.12 * day);
    expect(summaryOf(drive.verdict)).toMatch(/^the water has drifted from 24\.\d\d °C to 23\.\d\d °C in 19 days; each of the last four days lies 1\.0 K or more from how it was$/);
    expect(evidenceOf(drive.verdict, 'Trend')).toBe('−0.12 K a day');
  });

  it('does not mind a hot weekend, a season that moves by 0.04 K a day, or one visit', () => {
    expect(run(started(), 30, (day) => (day > 12 && day < 15 ? 26.5 : 25))).toEqual([null, null]);
    expect(run(started(), 30, (day) => 25 + 0.04 * day)).toEqual([null, null]);
    expect(run(started(), 30, (day) => (day > 12 && day < 12.1 ? 20 : 25))).toEqual([null, null]);
  });

  it('needs seven days, writes once an hour, and stays small', () => {
    const drive = started();
    expect(run(drive, 6.9, (day) => 25 + day)).toEqual([null, null]);
    expect(whyOf(drive.verdict)).toBe('needs seven full days of readings');
    run(drive, 60, () => 25, 6.9);
    expect(drive.writes).toBeLessThanOrEqual(67 * 24 + 1);
    expect(JSON.stringify(drive.state).length).toBeLessThan(2000);
    expect(whyOf(drive.until(T0 + 66.9 * DAY + HOUR))).toBe('display-temperature has gone silent');
  });
});
