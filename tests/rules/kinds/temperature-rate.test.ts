import { describe, expect, it } from 'vitest';
import { HOUR, MINUTE } from '../../../src/domain/duration.ts';
import temperatureRate from '../../../src/rules/kinds/temperature-rate.ts';
import { point, ruleOf, setting } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';

const water = point('temperature', 'display-temperature');
const started = (settings: Record<string, unknown> = {}) =>
  new Drive(ruleOf(temperatureRate, 'display-temperature', { points: [water], ruleSettings: [setting('temperature-rate', 'display-temperature', settings)] }), T0);

interface Run {
  readonly fromMin: number;
  readonly toMin: number;
  readonly everyMin?: number;
}

/** @returns minutes in which it was breached. */
function run(drive: Drive, { fromMin, toMin, everyMin = 1 }: Run, celsius: (minute: number) => number): readonly number[] {
  const breached: number[] = [];
  for (let minute = fromMin; minute < toMin; minute += everyMin) {
    if (drive.reading(water.id, T0 + minute * MINUTE, celsius(minute)).state === 'breached') breached.push(minute);
  }
  return breached;
}

describe('temperature-rate', () => {
  // Common practice, no source: more than 1 °C in an hour is worrying, more than 2 °C dangerous.
  it('is breached when the water cools by 2 K in an hour, and back when that is over', () => {
    const drive = started();
    const course = (minute: number): number => 25.5 - (2 / 60) * Math.max(0, Math.min(120, minute - 300));
    const breached = run(drive, { fromMin: 0, toMin: 1000 }, course);
    expect(breached[0]).toBeGreaterThan(300 + 40);
    expect(breached[0]).toBeLessThan(300 + 75);
    const last = breached.at(-1) ?? Number.NaN;
    expect(last).toBeGreaterThan(420);
    expect(last).toBeLessThan(420 + 60);
    expect(breached).toHaveLength(last - (breached[0] ?? Number.NaN) + 1);
  });

  it('says from where to where', () => {
    const drive = started();
    run(drive, { fromMin: 0, toMin: 301 }, () => 25);
    run(drive, { fromMin: 301, toMin: 401 }, (minute) => 25 + (1.8 / 60) * (minute - 300));
    expect(summaryOf(drive.verdict)).toMatch(/^the water has warmed by \d\.\d K in \d+ min, from 2\d\.\d\d °C to 28\.00 °C; more than 1\.5 K in an hour is too fast$/);
    expect(evidenceOf(drive.verdict, 'Water')).toBe(28);
    expect(evidenceOf(drive.verdict, 'Too fast from')).toBe('1.5 K in an hour');
  });

  it('is not breached below that: a big heater after a water change, 1.1 K in an hour', () => {
    const drive = started();
    expect(run(drive, { fromMin: 0, toMin: 600 }, (minute) => (minute < 300 ? 25.5 : minute < 320 ? 25.5 - 0.05 * (minute - 300) : Math.min(25.5, 24.5 + (1.1 / 60) * (minute - 320))))).toEqual([]);
  });

  it('does not take a probe that was held out for some minutes for a change, neither then nor later', () => {
    for (const outAt of [300, 307, 314, 330, 345, 359]) {
      const drive = started();
      const breached = run(drive, { fromMin: 0, toMin: 700 }, (minute) => (minute >= outAt && minute < outAt + 6 ? 20 : 25.5));
      // The on-delay of 15 min outlasts what is seen while it is out.
      expect(breached.length).toBeLessThanOrEqual(6);
      expect(breached.every((minute) => minute < outAt + 6)).toBe(true);
    }
    expect(temperatureRate.policy.onDelayMs).toBe(15 * MINUTE);
  });

  it('is quiet with noise, coarse steps and a daily swing of 1.5 K, and writes about once an hour', () => {
    const drive = started();
    const celsius = (minute: number): number => Math.round((25.5 + 0.75 * Math.sin((minute / 1440) * 2 * Math.PI) + 0.03 * Math.sin(minute * 1.7)) * 16) / 16;
    expect(run(drive, { fromMin: 0, toMin: 3 * 1440 }, celsius)).toEqual([]);
    expect(drive.verdict.state).toBe('clear');
    expect(drive.writes).toBeLessThan(3 * 24 * 3);
    const still = started();
    run(still, { fromMin: 0, toMin: 1440 }, () => 25.5);
    expect(still.writes).toBeLessThanOrEqual(25);
  });

  it('does not compare across a silence', () => {
    const drive = started();
    run(drive, { fromMin: 0, toMin: 300 }, () => 25.5);
    expect(whyOf(drive.until(T0 + 6 * HOUR))).toBe('display-temperature has gone silent');
    expect(run(drive, { fromMin: 370, toMin: 430 }, () => 22)).toEqual([]);
    expect(whyOf(drive.verdict)).toBe('needs two hours of readings without a silence');
    expect(run(drive, { fromMin: 430, toMin: 600 }, () => 22)).toEqual([]);
    expect(drive.verdict.state).toBe('clear');
  });

  it('says what is missing', () => {
    expect(whyOf(new Drive(ruleOf(temperatureRate, 'display-temperature', { points: [] }), T0).verdict)).toBe('no temperature point in the display or the sump');
  });
});
