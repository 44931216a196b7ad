import { describe, expect, it } from 'vitest';
import { DAY, HOUR, MINUTE } from '../../../src/domain/duration.ts';
import heaterNotHeating from '../../../src/rules/kinds/heater-not-heating.ts';
import { equipment, point, ruleOf, setting } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';

const water = point('temperature', 'display-temperature');
const power = point('power', 'heater-1-power', { equipmentId: 'reef/heater-1' });
const heater = equipment('heater', 'heater-1', { setpointC: 25.5, bandK: 0.3, nameplateWatts: 500 });

const started = (options: { heater?: object; points?: readonly ReturnType<typeof point>[]; settings?: object } = {}) =>
  new Drive(ruleOf(heaterNotHeating, 'heater-1', {
    equipment: [{ ...heater, ...options.heater }], points: options.points ?? [water, power], ruleSettings: [setting('heater-not-heating', 'heater-1', { ...options.settings })],
  }), T0);

/** A reading of both a minute. @returns minutes since `fromMs` until the first breach. */
function run(drive: Drive, fromMs: number, toMs: number, at: (hours: number) => { readonly celsius: number; readonly watts: number }, meter = power): number | null {
  let first: number | null = null;
  for (let atMs = fromMs; atMs < toMs; atMs += MINUTE) {
    const { celsius, watts } = at((atMs - fromMs) / HOUR);
    drive.reading(water.id, atMs, celsius);
    if (drive.reading(meter.id, atMs + 5000, watts).state === 'breached') first ??= (atMs - fromMs) / MINUTE;
  }
  return first;
}

/** A thermostat that works: on from `on` down, off from `off` up, 0.4 K/h either way. */
function cycling(on: number, off: number) {
  let celsius = (on + off) / 2;
  let heats = false;
  return () => {
    celsius += (heats ? 0.4 : -0.4) / 60;
    if (celsius <= on) heats = true;
    if (celsius >= off) heats = false;
    return { celsius: Math.round(celsius * 50) / 50, watts: heats ? 498 : 1.2 };
  };
}

describe('heater-not-heating', () => {
  it('rings an hour after the water has cooled past the line and what a probe explains', () => {
    // 0.3 K/h from 25.3 down: 24.7 (25.5 − 0.3 − 0.5) is passed after 2 h.
    expect(run(started(), T0, T0 + 6 * HOUR, (hours) => ({ celsius: 25.3 - 0.3 * hours, watts: 1.2 }))).toBeCloseTo(180, -1);
  });

  it('says nothing while a second thermometer in the tank says that the water is warm', () => {
    const sump = point('temperature', 'sump-temperature', { place: 'sump' });
    const drive = started({ points: [water, sump, power] });
    let sumpC = 25.4;
    const both = (hours: number, by: number) => run(drive, drive.nowMs + MINUTE, drive.nowMs + hours * HOUR, () => {
      drive.reading(sump.id, drive.nowMs + 1000, sumpC -= by / 60);
      return { celsius: 23.9, watts: 1.2 };
    });
    // The first has slipped out of the water, or hangs in a display that is cut off from the heater in the sump.
    expect(both(4, 0)).toBeNull();
    expect(both(6, 0.3)).not.toBeNull();
    expect(evidenceOf(drive.verdict, 'Water')).toBeGreaterThan(23.9 - 0.6);
  });

  it('rings earlier once it knows where the heater switches on', () => {
    const drive = started();
    expect(run(drive, T0, T0 + DAY, cycling(25.2, 25.8))).toBeNull();
    const minutes = run(drive, T0 + DAY, T0 + DAY + 6 * HOUR, (hours) => ({ celsius: 25.2 - 0.3 * hours, watts: 1.2 }));
    // 0.2 K below the usual: after 40 min, and 45 min of lag.
    expect(minutes).toBeGreaterThan(80);
    expect(minutes).toBeLessThan(105);
    expect(summaryOf(drive.verdict)).toMatch(/^heater-1 draws 1\.2 W with the water at 23\.41 °C, and has done so for 5 h \d+ min: its thermostat should have started it at 25\.20 °C; as it cools, 22\.00 °C is at least 4 h \d+ min away$/);
    expect(evidenceOf(drive.verdict, 'Changing since then by')).toMatch(/^−0\.[23]\d K\/h$/);
    expect(evidenceOf(drive.verdict, 'At this rate 22.00 °C in, at the earliest')).toMatch(/^4 h/);
  });

  it('learns a probe that reads low instead of paging it', () => {
    const drive = started({ settings: { probeTolerance: 1 } });
    expect(run(drive, T0, T0 + 3 * DAY, cycling(24.75, 25.3))).toBeNull();
    expect(drive.verdict.state).toBe('clear');
  });

  it('is over when it heats again, and does not learn from that start', () => {
    const drive = started();
    run(drive, T0, T0 + 6 * HOUR, () => ({ celsius: 24.2, watts: 0 }));
    expect(drive.verdict.state).toBe('breached');
    drive.restart();
    expect(drive.reading(power.id, T0 + 6 * HOUR + MINUTE, 498).state).toBe('clear');
    expect(drive.state).toMatchObject({ switchOnsK: [] });
  });

  it('goes on ringing while another heater holds the water just above the line', () => {
    const drive = started();
    run(drive, T0, T0 + 3 * HOUR, () => ({ celsius: 24.5, watts: 0 }));
    run(drive, T0 + 3 * HOUR, T0 + 6 * HOUR, (hours) => ({ celsius: 24.5 + 0.3 * hours, watts: 0 }));
    expect(drive.verdict.state).toBe('breached');
    // A warm afternoon is no repair …
    run(drive, T0 + 6 * HOUR, T0 + 20 * HOUR, () => ({ celsius: 25.6, watts: 0 }));
    expect(drive.verdict.state).toBe('breached');
    drive.restart();
    run(drive, T0 + 20 * HOUR, T0 + 22 * HOUR, () => ({ celsius: 24.5, watts: 0 }));
    expect(drive.verdict.state).toBe('breached');
    // … but a day and a half of it are; and a heater that draws is mended at once.
    run(drive, T0 + 22 * HOUR, T0 + 59 * HOUR, () => ({ celsius: 25.6, watts: 0 }));
    expect(drive.verdict.state).toBe('clear');
    run(drive, T0 + 59 * HOUR, T0 + 62 * HOUR, () => ({ celsius: 24.5, watts: 0 }));
    expect(drive.verdict.state).toBe('breached');
    run(drive, T0 + 62 * HOUR, T0 + 62 * HOUR + MINUTE, () => ({ celsius: 24.5, watts: 498 }));
    expect(drive.verdict.state).toBe('clear');
  });

  it('does not mind a visit: 40 min without power, a water change, the probe in the air', () => {
    const drive = started();
    run(drive, T0, T0 + DAY, cycling(25.2, 25.8));
    const visit = (hours: number) => ({ celsius: hours > 0.2 && hours < 0.3 ? 20 : 25.2 - 0.5 * hours, watts: 0 });
    expect(run(drive, T0 + DAY, T0 + DAY + 40 * MINUTE, visit)).toBeNull();
    expect(run(drive, T0 + DAY + 40 * MINUTE, T0 + DAY + 2 * HOUR, (hours) => ({ celsius: 24.9 + 0.3 * hours, watts: 498 }))).toBeNull();
  });

  it('does not mind a warm room or a second heater that does the work', () => {
    expect(run(started(), T0, T0 + 2 * DAY, (hours) => ({ celsius: 25.6 + 0.3 * Math.sin(hours / 4), watts: 0 }))).toBeNull();
  });

  it('begins to count anew after a silence', () => {
    const drive = started();
    run(drive, T0, T0 + 25 * MINUTE, () => ({ celsius: 24.2, watts: 0 }));
    expect(whyOf(drive.until(T0 + HOUR))).toMatch(/has gone silent$/);
    expect(run(drive, T0 + HOUR, T0 + 3 * HOUR, () => ({ celsius: 24.2, watts: 0 }))).toBeCloseTo(60, 0);
  });

  it('writes only when something crosses', () => {
    const drive = started();
    run(drive, T0, T0 + DAY, cycling(25.2, 25.8));
    expect(drive.writes).toBeLessThan(24);
  });

  it('says what is missing', () => {
    expect(whyOf(started({ heater: { setpointC: null } }).verdict)).toBe('no setpoint is entered for heater-1');
    expect(whyOf(started({ points: [power] }).verdict)).toBe('no temperature point in the display or the sump');
    expect(whyOf(started({ points: [water] }).verdict)).toBe('no power, current, energy or switch point on heater-1');
  });
});
