import { describe, expect, it } from 'vitest';
import { HOUR } from '../../../src/domain/duration.ts';
import salinityStep from '../../../src/rules/kinds/salinity-step.ts';
import { ruleOf } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';
import { beside, conductivity, feed, probe } from '../salty.ts';

const started = (points = [probe, beside]) => new Drive(ruleOf(salinityStep, 'conductivity', { points }), T0);
const H = 60;

describe('salinity-step', () => {
  it('rings 25 min after a fifth of the tank was replaced by water of 20', () => {
    const drive = started();
    const breached = feed(drive, { toMin: 15 * H, everyMin: 1, psu: (minute) => 35 - 3 * Math.max(0, Math.min(1, (minute - 10 * H) / 20)) });
    // 1.0 is passed after 7 min.
    expect(breached[0]).toBeGreaterThanOrEqual(10 * H + 30);
    expect(breached[0]).toBeLessThanOrEqual(10 * H + 36);
    expect(summaryOf(drive.verdict)).toMatch(/^salinity has jumped down by 3\.0, from 35\.0 to 32\.0, and has stayed there for 4 h 5\d min$/);
    expect(evidenceOf(drive.verdict, 'Fallen by')).toBe('3.0 (rings from 1.0)');
  });

  it('is over when it was corrected, or after a day', () => {
    const drive = started();
    feed(drive, { toMin: 12 * H, psu: (minute) => (minute < 10 * H ? 35 : 37) });
    drive.restart();
    expect(drive.verdict.state).toBe('breached');
    expect(feed(drive, { fromMin: 12 * H, toMin: 13 * H, psu: () => 35.4 })).toEqual([]);
    const left = started();
    const breached = feed(left, { toMin: 60 * H, psu: (minute) => (minute < 10 * H ? 35 : 37) });
    expect((breached.at(-1) ?? Number.NaN) / H).toBeCloseTo(34, 0);
    expect(left.verdict.state).toBe('clear');
    expect(feed(left, { fromMin: 60 * H, toMin: 70 * H, psu: () => 35 }).length).toBeGreaterThan(0);
  });

  it('does not mind a probe in the air, bubbles, a proper water change, warm afternoons, a hurried evaporation', () => {
    const drive = started();
    expect(feed(drive, {
      toMin: 10 * 24 * H, everyMin: 2,
      psu: (minute) => 35 + (1.2 / 24) * Math.abs(((minute / H) % 48) - 24) - (minute > 4 * 24 * H ? 0.3 : 0),
      celsius: (minute) => 25.5 + Math.sin((minute / H / 24) * 2 * Math.PI),
      shows: (minute) => (minute % (11 * H) >= 3 * H && minute % (11 * H) < 3 * H + 20 ? 2 : null),
    })).toEqual([]);
    // Once an hour a note, and twice for each time the probe was out.
    expect(drive.writes).toBeLessThan(10 * 24 + 2 * 25);
  });

  it('does not take a thermometer that jumps, nor water that really cools, for salt', () => {
    // The conductivity goes on as if the water were at 25.5 °C; 2 K more in the reckoning are 1.5 less in salinity.
    const jumped = feed(started(), { toMin: 15 * H, everyMin: 1, psu: () => 35, celsius: (minute) => (minute < 10 * H ? 25.5 : 28.5), shows: (minute) => (minute < 10 * H ? null : conductivity(35, 25.5)) });
    expect(jumped).toEqual([]);
    expect(feed(started(), { toMin: 15 * H, everyMin: 1, psu: () => 35, celsius: (minute) => (minute < 10 * H ? 25.5 : 22.5) })).toEqual([]);
    // Cold fresh water is both, and is a step.
    const drive = started();
    expect(feed(drive, { toMin: 15 * H, everyMin: 1, psu: (minute) => (minute < 10 * H ? 35 : 33), celsius: (minute) => (minute < 10 * H ? 25.5 : 23) })[0]).toBeLessThanOrEqual(10 * H + 30);
    expect(drive.verdict).toMatchObject({ state: 'breached', side: 'low' });
  });

  it('leaves a slide over hours to salinity-rate', () => {
    // A skimmer that foams over 0.8 % of the water an hour, made up with fresh water.
    expect(feed(started(), { toMin: 18 * H, everyMin: 1, psu: (minute) => 35 * Math.exp(-0.012 * Math.max(0, minute / H - 10)) })).toEqual([]);
  });

  it('needs three hours, forgets across a long silence, and is unknown when silent', () => {
    const drive = started();
    feed(drive, { toMin: 1.9 * H, psu: () => 35 });
    expect(whyOf(drive.verdict)).toBe('needs three hours of readings');
    feed(drive, { fromMin: 2 * H, toMin: 10 * H, psu: () => 35 });
    expect(whyOf(drive.until(T0 + 12 * HOUR))).toMatch(/gone silent$/);
    expect(feed(drive, { fromMin: 20 * H, toMin: 30 * H, psu: () => 33 })).toEqual([]);
    expect(drive.verdict.state).toBe('clear');
  });

  it('is less sure without a temperature', () => {
    const drive = new Drive(ruleOf(salinityStep, 'conductivity', { points: [probe] }), T0);
    const at = (hour: number, mSPerCm: number) => drive.reading(probe.id, T0 + hour * HOUR, mSPerCm).state;
    for (let hour = 0; hour < 5; hour += 0.125) at(hour, 53);
    for (let hour = 5; hour < 6; hour += 0.125) expect(at(hour, 50.5)).toBe('clear');
    for (let hour = 6; hour < 7; hour += 0.125) at(hour, 48);
    expect(drive.verdict.state).toBe('breached');
  });
});
