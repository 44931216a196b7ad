import { describe, expect, it } from 'vitest';
import { HOUR, MINUTE } from '../../../src/domain/duration.ts';
import notCooling from '../../../src/rules/kinds/chiller-not-cooling.ts';
import { equipment, point, ruleOf } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';

const water = point('temperature', 'display-temperature');
const power = point('power', 'chiller-power', { equipmentId: 'reef/chiller' });
const chiller = equipment('chiller', 'chiller', { setpointC: 26, bandK: 0.4, nameplateWatts: 400 });
const started = (points = [water, power], piece = chiller) => new Drive(ruleOf(notCooling, 'chiller', { equipment: [piece], points }), T0);

interface House {
  /** Heat out for each watt drawn. */
  readonly performance: (hours: number) => number;
  /** Heat that comes in from lamps and room, W. */
  readonly load?: (hours: number) => number;
  readonly celsius?: number;
  readonly fromMs?: number;
}

/** 1135.6 L of seawater, 1290.5 Wh/K (reference table for 300 US gal, computed). A reading a minute. @returns hours until the first breach. */
function run(drive: Drive, hours: number, { performance, load = () => 350, celsius: startC = 25.7, fromMs = T0 }: House): number | null {
  let celsius = startC;
  let cools = false;
  let first: number | null = null;
  for (let atMs = fromMs; atMs < fromMs + hours * HOUR; atMs += MINUTE) {
    const hour = (atMs - fromMs) / HOUR;
    celsius += (load(hour) - (cools ? 380 * performance(hour) : 0)) / 1290.5 / 60;
    cools = cools ? celsius > 25.6 : celsius > 26.4;
    drive.reading(water.id, atMs, Math.round((celsius + 0.015 * Math.sin(atMs / 31)) * 50) / 50);
    if (drive.reading(power.id, atMs + 1000, cools ? 380 : 4).state === 'breached') first ??= hour;
  }
  return first;
}

describe('chiller-not-cooling', () => {
  it('finds one that runs without cooling within 75 min of the first run', () => {
    const drive = started();
    const hours = run(drive, 30, { performance: (hour) => (hour < 20 ? 2.5 : 0) });
    expect(hours).toBeGreaterThan(20);
    expect(hours).toBeLessThan(24.5);
    expect(summaryOf(drive.verdict)).toMatch(/^chiller has run for \d+ h .*and the water, at 2\d\.\d\d °C, has not cooled: it moves by \+0\.2\d K\/h, \+0\.2\d K\/h before it started$/);
    expect(evidenceOf(drive.verdict, 'It should pull that down by at least')).toBe('0.37 K/h (480 W of heat out of all of the nominal water)');
  });

  it('finds one that fails in the middle of a run, once the water is back where the run began', () => {
    const drive = started();
    run(drive, 2.6, { performance: () => 2.5 });
    const hours = run(drive, 12, { performance: () => 0, celsius: 26.2, fromMs: T0 + 2.6 * HOUR });
    expect(hours).not.toBeNull();
    expect(hours).toBeLessThan(6);
  });

  it('is quiet while a sound one cycles for two weeks, and writes when it switches or an hour is over', () => {
    const drive = started();
    expect(run(drive, 14 * 24, { performance: () => 2.4, load: (hour) => 350 + 250 * Math.sin((hour / 24) * 2 * Math.PI) })).toBeNull();
    expect(drive.verdict.state).toBe('clear');
    expect(drive.writes).toBeLessThan(14 * 24 * 3);
  });

  it('is quiet in a heat wave that a sound one cannot hold, and when the lamps come on as it starts', () => {
    expect(run(started(), 40, { performance: () => 1.6, load: (hour) => (hour < 4 ? 300 : 300 + 60 * (hour - 4)) })).toBeNull();
    expect(run(started(), 12, { performance: () => 1.8, load: (hour) => (hour < 2.7 ? 350 : 700) })).toBeNull();
  });

  it('is over when it cools, not when a cool night does', () => {
    const drive = started();
    run(drive, 12, { performance: () => 0 });
    expect(drive.verdict.state).toBe('breached');
    drive.restart();
    run(drive, 6, { performance: () => 0, load: () => -120, celsius: 28.84, fromMs: T0 + 12 * HOUR });
    expect(drive.verdict.state).toBe('breached');
    run(drive, 3, { performance: () => 2.5, celsius: 28.3, fromMs: T0 + 18 * HOUR });
    expect(drive.verdict.state).toBe('clear');
  });

  it('does not judge a run it has not seen begin, or that a silence interrupted', () => {
    const drive = started();
    expect(run(drive, 8, { performance: () => 0, celsius: 27 })).toBeNull();
    const other = started();
    run(other, 3.2, { performance: () => 0 });
    expect(whyOf(other.until(T0 + 4 * HOUR))).toMatch(/gone silent/);
    expect(run(other, 6, { performance: () => 0, celsius: 27, fromMs: T0 + 4 * HOUR })).toBeNull();
  });

  it('says what is missing', () => {
    expect(whyOf(started([power]).verdict)).toBe('no temperature point in the display or the sump');
    expect(whyOf(started([water]).verdict)).toBe('no power, current, energy or switch point on chiller');
    expect(whyOf(started([water, power], { ...chiller, nameplateWatts: null }).verdict)).toBe('no nameplate power is entered for chiller');
  });
});
