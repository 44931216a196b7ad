import { describe, expect, it } from 'vitest';
import { HOUR } from '../../../src/domain/duration.ts';
import salinityRate from '../../../src/rules/kinds/salinity-rate.ts';
import { ruleOf } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';
import { beside, feed, probe } from '../salty.ts';

const started = (points = [probe, beside]) => new Drive(ruleOf(salinityRate, 'conductivity', { points }), T0);
const H = 60;

describe('salinity-rate', () => {
  // Common practice, no source: change of at most 1 a day.
  it('finds a rise of 1.6 a day within a day, and is over when it has stopped', () => {
    const drive = started();
    const breached = feed(drive, { toMin: 96 * H, psu: (minute) => 35 + (1.6 / 24) * Math.max(0, Math.min(24, minute / H - 24)) });
    expect((breached[0] ?? Number.NaN) / H - 24).toBeGreaterThan(14);
    expect((breached[0] ?? Number.NaN) / H - 24).toBeLessThan(19);
    expect((breached.at(-1) ?? Number.NaN) / H).toBeLessThan(72);
    expect(drive.verdict.state).toBe('clear');
  });

  it('says from where to where', () => {
    const drive = started();
    feed(drive, { toMin: 48 * H, psu: (minute) => 35 - (1.5 / 24) * Math.max(0, minute / H - 24) });
    expect(summaryOf(drive.verdict)).toMatch(/^salinity has fallen by 1\.[2-4] in 2[0-4] h, from 3[45]\.\d to 33\.\d; 1\.0 a day is too fast$/);
    expect(evidenceOf(drive.verdict, 'Too fast from')).toBe('1.0 in 24 h');
  });

  it('is quiet with evaporation that is not made up (0.7 a day), a water change, wild hours and warm afternoons', () => {
    const drive = started();
    expect(feed(drive, { toMin: 72 * H, psu: (minute) => 35 + (0.7 / 24) * (minute / H) })).toEqual([]);
    const messy = started();
    expect(feed(messy, {
      toMin: 14 * 24 * H,
      psu: (minute) => 35 + 0.05 * (minute / H / 24) - (minute > 7 * 24 * H ? 0.35 : 0),
      celsius: (minute) => 25.5 + Math.sin((minute / H / 24) * 2 * Math.PI),
      shows: (minute) => (minute % (31 * H) === 0 ? 1 : null),
    })).toEqual([]);
    // Five readings an hour.
    expect(messy.writes).toBeLessThanOrEqual(14 * 24 * 5);
  });

  it('is quiet with a probe that throws a wild value in one reading of ten', () => {
    // A number from 0 to 1 for each minute, without any pattern that an hour could see.
    const drawn = (minute: number, of: number): number => Math.abs(Math.sin(minute * 78.233 + of) * 43_758.5453) % 1;
    const wild = (minute: number): number | null => (drawn(minute, 1) < 0.1 ? 53 + 16 * (drawn(minute, 2) - 0.5) : null);
    expect(feed(started(), { toMin: 28 * 24 * H, psu: () => 35, shows: wild })).toEqual([]);
  });

  it('leaves a jump to salinity-step', () => {
    expect(feed(started(), { toMin: 72 * H, psu: (minute) => (minute < 30 * H ? 35 : 32) })).toEqual([]);
  });

  it('needs nine hours, survives a restart, and is unknown when silent', () => {
    const drive = started();
    feed(drive, { toMin: 8 * H, psu: () => 35 });
    expect(whyOf(drive.verdict)).toBe('needs nine hours of readings');
    feed(drive, { fromMin: 8 * H, toMin: 30 * H, psu: (minute) => 35 + (3 / 24) * (minute / H - 8) });
    drive.restart();
    expect(drive.verdict.state).toBe('breached');
    expect(whyOf(drive.until(T0 + 40 * HOUR))).toMatch(/gone silent$/);
  });
});
