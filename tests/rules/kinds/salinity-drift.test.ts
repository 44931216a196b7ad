import { describe, expect, it } from 'vitest';
import { DAY, HOUR, MINUTE } from '../../../src/domain/duration.ts';
import salinityDrift from '../../../src/rules/kinds/salinity-drift.ts';
import { equipment, point, ruleOf } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';
import { beside, feed, probe } from '../salty.ts';

const gauge = point('fill', 'gauge', { place: 'reservoir', equipmentId: 'reef/reservoir' });
const reservoir = equipment('top-off-reservoir', 'reservoir', { capacityLitres: 60 });
const started = (points = [probe, beside]) => new Drive(ruleOf(salinityDrift, 'conductivity', { points, equipment: points.includes(gauge) ? [reservoir] : [] }), T0);
const D = 1440;

/** @returns days of the first and the last breach. */
function days(breached: readonly number[]): readonly [number | null, number | null] {
  const [first] = breached;
  const last = breached.at(-1);
  return [first === undefined ? null : Math.floor(first / D), last === undefined ? null : Math.floor(last / D)];
}

describe('salinity-drift', () => {
  it('finds salt that leaves with water, and reckons how much water that is', () => {
    const drive = started();
    const [first] = days(feed(drive, { toMin: 25 * D, everyMin: 10, psu: (minute) => 35 - 0.1 * Math.max(0, minute / D - 7) }));
    // 0.8 after eight days; each of four days has to lie that far off.
    expect(first).toBeGreaterThanOrEqual(17);
    expect(first).toBeLessThanOrEqual(22);
    // 0.1 a day of about 33.5 in 1135.6 L: 3.4 L a day.
    expect(summaryOf(drive.verdict)).toMatch(/^salinity has fallen from 3[45]\.\d to 33\.\d in \d+ days: as if 3\.\d L of tank water a day left and were made up with fresh water$/);
  });

  it('shows what the reservoir gives beside a rise', () => {
    const drive = started([probe, beside, gauge]);
    for (let day = 0; day < 22; day += 1) {
      for (let hour = 0; hour < 24; hour += 1) {
        const minute = day * D + hour * 60;
        // 5 % of 60 L a day, filled up every 12 days.
        drive.reading(gauge.id, T0 + minute * MINUTE - 1000, 90 - 5 * ((day % 12) + hour / 24));
        feed(drive, { fromMin: minute, toMin: minute + 60, everyMin: 5, psu: (at) => 34 + 0.12 * (at / D) });
      }
    }
    expect(summaryOf(drive.verdict)).toMatch(/^salinity has risen from 34\.\d to 36\.\d in \d+ days: as if [34]\.\d L a day evaporated and were not made up, or salt were added$/);
    expect(evidenceOf(drive.verdict, 'The reservoir gives, a day')).toMatch(/^(2\.9|3\.0|3\.1) L$/);
  });

  it('is quiet while a probe fouls by 1.5 % a month, with weekly water changes and wild hours', () => {
    const drive = started();
    expect(feed(drive, {
      toMin: 45 * D, everyMin: 10,
      psu: (minute) => 35 * (1 - (0.015 * minute) / (30 * D)) + 0.2 * Math.sin((minute / D / 7) * 2 * Math.PI),
      shows: (minute) => (minute % (13 * 60) === 0 ? 3 : null),
    })).toEqual([]);
    expect(drive.writes).toBeLessThanOrEqual(45 * 24);
    expect(JSON.stringify(drive.state).length).toBeLessThan(2000);
  });

  it('needs seven days, survives a restart, and is unknown when silent', () => {
    const drive = started();
    feed(drive, { toMin: 6.9 * D, everyMin: 10, psu: () => 35 });
    expect(whyOf(drive.verdict)).toBe('needs seven full days of readings');
    feed(drive, { fromMin: 7 * D, toMin: 25 * D, everyMin: 10, psu: (minute) => 35 - 0.12 * (minute / D - 7) });
    drive.restart();
    expect(drive.verdict.state).toBe('breached');
    expect(whyOf(drive.until(T0 + 25 * DAY + HOUR))).toMatch(/gone silent$/);
  });
});
