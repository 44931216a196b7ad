import { describe, expect, it } from 'vitest';
import { HOUR, MINUTE } from '../../../src/domain/duration.ts';
import fighting from '../../../src/rules/kinds/heater-chiller-fighting.ts';
import { equipment, point, ruleOf } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';

const heat = point('power', 'heater-1-power', { equipmentId: 'reef/heater-1' });
const cool = point('power', 'chiller-power', { equipmentId: 'reef/chiller' });
const pieces = [equipment('heater', 'heater-1', { setpointC: 25.5, nameplateWatts: 300 }), equipment('chiller', 'chiller', { setpointC: 26.5, nameplateWatts: 400 })];
const started = (points = [heat, cool]) => new Drive(ruleOf(fighting, 'chiller', { equipment: pieces, points }), T0);

/** A reading of both a minute. @returns minutes until the first breach. */
function run(drive: Drive, hours: number, at: (minute: number) => readonly [heats: boolean, cools: boolean], fromMs = T0): number | null {
  let first: number | null = null;
  for (let minute = 0; minute < hours * 60; minute += 1) {
    const [heats, cools] = at(minute);
    drive.reading(heat.id, fromMs + minute * MINUTE, heats ? 300 : 1);
    if (drive.reading(cool.id, fromMs + minute * MINUTE + 1000, cools ? 380 : 4).state === 'breached') first ??= minute;
  }
  return first;
}

describe('heater-chiller-fighting', () => {
  it('is breached when both run together for ten minutes', () => {
    const drive = started();
    expect(run(drive, 2, (minute) => [minute >= 30, minute >= 40])).toBe(50);
    expect(summaryOf(drive.verdict)).toBe('chiller and a heater have run together for 1 h 19 min: one undoes what the other does');
    expect(evidenceOf(drive.verdict, 'Now')).toBe('heating, cooling');
  });

  it('is breached when they take turns, one a quarter of an hour after the other', () => {
    const drive = started();
    // Heats 30 min, rests 15, cools 20, rests 25: change-overs after 45, 90 and 135 minutes.
    const turns = (minute: number): readonly [boolean, boolean] => [minute % 90 < 30, minute % 90 >= 45 && minute % 90 < 65];
    expect(run(drive, 12, turns)).toBe(135);
    expect(summaryOf(drive.verdict)).toMatch(/^chiller and a heater have taken turns \d+ times in 12 h, one starting within 45 min of the other/);
  });

  it('does not mind a heated night and a cooled afternoon', () => {
    expect(run(started(), 72, (minute) => {
      const hour = (minute / 60) % 24;
      return [hour < 7 && minute % 60 < 25, hour > 12 && hour < 20 && minute % 50 < 20];
    })).toBeNull();
  });

  it('does not mind one sunny morning that changes over at once, nor a meter that lags by minutes', () => {
    expect(run(started(), 48, (minute) => [minute % 1440 < 420, minute % 1440 >= 415 && minute % 1440 < 700])).toBeNull();
  });

  it('is over six hours after they have stopped', () => {
    const drive = started();
    run(drive, 2, () => [true, true]);
    drive.restart();
    expect(run(drive, 7.9, () => [true, false], T0 + 2 * HOUR)).toBe(0);
    expect(drive.verdict.state).toBe('clear');
    expect(run(drive, 4, () => [true, false], T0 + 10 * HOUR)).toBeNull();
  });

  it('does not count across a silence, and writes only when something switches', () => {
    const drive = started();
    run(drive, 0.5, () => [true, false]);
    expect(whyOf(drive.until(T0 + HOUR))).toMatch(/gone silent/);
    expect(run(drive, 1, () => [false, true], T0 + HOUR)).toBeNull();
    const busy = started();
    run(busy, 24, () => [true, true]);
    expect(busy.writes).toBeLessThanOrEqual(28);
  });

  it('says what is missing', () => {
    expect(whyOf(started([heat]).verdict)).toBe('no power, current, energy or switch point on chiller');
    expect(whyOf(started([cool]).verdict)).toBe('no power, current, energy or switch point on heater-1');
  });
});
