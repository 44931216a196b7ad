import { describe, expect, it } from 'vitest';
import { DAY, HOUR, MINUTE } from '../../../src/domain/duration.ts';
import temperatureSwing from '../../../src/rules/kinds/temperature-swing.ts';
import { point, ruleOf } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';

const water = point('temperature', 'display-temperature');
const started = () => new Drive(ruleOf(temperatureSwing, 'display-temperature', { points: [water] }), T0);

/** A reading in five minutes. @param swing by day. @returns days at whose end it was breached. */
function run(drive: Drive, days: number, celsius: (day: number, hour: number) => number): readonly number[] {
  const breached: number[] = [];
  for (let atMs = T0; atMs < T0 + days * DAY; atMs += 5 * MINUTE) {
    const day = Math.floor((atMs - T0) / DAY);
    const { state } = drive.reading(water.id, atMs, celsius(day, ((atMs - T0) % DAY) / HOUR));
    if (state === 'breached' && breached.at(-1) !== day) breached.push(day);
  }
  return breached;
}

const wave = (swing: number, hour: number): number => 25 + (swing / 2) * Math.sin((hour / 24) * 2 * Math.PI);

describe('temperature-swing', () => {
  // Common practice, no source: more than 1.5–2 K within a day is poor.
  it('is breached on the third day of swings by 2.4 K, and over after a day of 1.4 K', () => {
    const drive = started();
    expect(run(drive, 6, (day, hour) => wave(day < 4 ? 2.4 : 1.4, hour))).toEqual([2, 3, 4]);
    expect(drive.verdict.state).toBe('clear');
  });

  it('shows the days', () => {
    const drive = started();
    run(drive, 3, (_day, hour) => wave(2.4, hour));
    expect(summaryOf(drive.verdict)).toBe('the water swings by 2.3 K within a day; 2.0 K on two days on end is too much');
    expect(evidenceOf(drive.verdict, 'Swing of a day')).toBe('2.3 K, 23.8 to 26.2 °C');
  });

  it('does not mind one hot afternoon, or two with a day between', () => {
    expect(run(started(), 8, (day, hour) => wave(day === 2 || day === 4 ? 3 : 1.2, hour))).toEqual([]);
  });

  it('does not mind a wild reading on every day', () => {
    expect(run(started(), 6, (_day, hour) => (hour === 9 ? 31 : wave(1.2, hour)))).toEqual([]);
  });

  it('does not judge a day of which less than half was heard', () => {
    const drive = started();
    for (let day = 0; day < 5; day += 1) {
      for (let hour = 0; hour < 11; hour += 1) drive.reading(water.id, T0 + day * DAY + hour * HOUR, hour % 2 === 0 ? 23 : 27);
    }
    expect(whyOf(drive.verdict)).toBe('no full day of readings yet');
  });

  it('writes once an hour, goes on after a restart, and is unknown when silent', () => {
    const drive = started();
    run(drive, 2, (_day, hour) => wave(2.4, hour));
    expect(drive.writes).toBe(48);
    drive.restart();
    expect(drive.reading(water.id, T0 + 2 * DAY, 25).state).toBe('breached');
    expect(whyOf(drive.until(T0 + 2 * DAY + HOUR))).toBe('display-temperature has gone silent');
  });
});
