import { describe, expect, it } from 'vitest';
import { HOUR, MINUTE } from '../../../src/domain/duration.ts';
import type { Equipment, Point } from '../../../src/domain/fleet.ts';
import heaterStuckOn from '../../../src/rules/kinds/heater-stuck-on.ts';
import { equipment, point, ruleOf, setting } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';

/*
 * 900 L + 235.6 L (300 US gal) of seawater hold 1290.5 Wh/K (check values §4.5, computed from UNESCO TP44), so 500 W warm them by at most
 * 0.387 K/h: one band of 0.3 K takes 46.5 min. The line is 25.5 + 0.3 = 25.8 °C; what a probe may read high ends at 26.3 °C.
 */
const facts: Partial<Equipment> = { setpointC: 25.5, bandK: 0.3, nameplateWatts: 500 };
const water = point('temperature', 'display-temperature');
const power = point('power', 'heater-1-power', { equipmentId: 'reef/heater-1' });

function started(options: { heater?: Partial<Equipment>; points?: readonly Point[]; settings?: Record<string, unknown> } = {}): Drive {
  const heater = equipment('heater', 'heater-1', { ...facts, ...options.heater });
  return new Drive(ruleOf(heaterStuckOn, 'heater-1', { equipment: [heater], points: options.points ?? [water, power], ruleSettings: options.settings === undefined ? [] : [setting('heater-stuck-on', 'heater-1', options.settings)] }), T0);
}

interface Course {
  readonly fromMs: number;
  readonly toMs: number;
  readonly celsius: (hours: number) => number;
  readonly watts: (celsius: number, hours: number) => number;
  readonly draw?: Point;
}

/** Feeds both points every 30 s, 3 s apart; @returns minutes until the first breach, or `null`. */
function run(drive: Drive, { fromMs, toMs, celsius, watts, draw = power }: Course): number | null {
  let first: number | null = null;
  for (let atMs = fromMs; atMs < toMs; atMs += 30_000) {
    const hours = (atMs - fromMs) / HOUR;
    drive.reading(water.id, atMs, celsius(hours));
    const verdict = drive.reading(draw.id, atMs + 3000, watts(celsius(hours), hours));
    if (verdict.state === 'breached' && first === null) first = (atMs - fromMs) / MINUTE;
  }
  return first;
}

/** A working heater in 300 US gal that loses 200 W: warms at 0.23 K/h, cools at 0.15 K/h; the probe shows `offset` more than the thermostat feels. */
function cycling(drive: Drive, hours: number, offset: number): number | null {
  let truth = 25.4;
  let on = true;
  return run(drive, {
    fromMs: T0,
    toMs: T0 + hours * HOUR,
    celsius: () => Math.round((truth + offset) * 100) / 100,
    watts: () => {
      truth += (on ? 0.23 : -0.15) / 120;
      if (truth >= 25.8) on = false;
      if (truth <= 25.2) on = true;
      return on ? 498 : 3;
    },
  });
}

describe('heater-stuck-on', () => {
  it('rings for a heater that keeps drawing above what a probe may be off, after the lag that heat balance allows', () => {
    // 25.5 °C and up by 0.25 K/h: the line after 72 min, 26.3 °C after 192 min, 46.5 min of lag from there.
    const minutes = run(started(), { fromMs: T0, toMs: T0 + 6 * HOUR, celsius: (hours) => 25.5 + 0.25 * hours, watts: () => 498 });
    expect(minutes).toBeGreaterThanOrEqual(192 + 46);
    expect(minutes).toBeLessThanOrEqual(192 + 48);
  });

  it('rings hours earlier where it has seen at which temperature the heater usually switches off', () => {
    const drive = started();
    expect(cycling(drive, 36, 0)).toBeNull();
    const minutes = run(drive, { fromMs: T0 + 37 * HOUR, toMs: T0 + 43 * HOUR, celsius: (hours) => 25.5 + 0.25 * hours, watts: () => 498 });
    // The usual switch-off is the line, so 25.9 °C is beyond (96 min).
    expect(minutes).toBeGreaterThanOrEqual(96 + 46);
    expect(minutes).toBeLessThanOrEqual(96 + 49);
  });

  it('finds a stuck heater that has met its losses just above the line', () => {
    const minutes = run(started(), { fromMs: T0, toMs: T0 + 8 * HOUR, celsius: () => 26, watts: () => 498 });
    // Lag 46.5 min, and 155 min in which a working heater would carry the water through the probe's 0.5 K at half of its loss-free rate.
    expect(minutes).toBeGreaterThanOrEqual(46 + 154);
    expect(minutes).toBeLessThanOrEqual(46 + 157);
  });

  it.each([-0.5, 0, 0.3, 0.5])('does not ring for a working thermostat under a probe that reads %d K off', (offset) => {
    expect(cycling(started(), 48, offset)).toBeNull();
  });

  it('does ring when heater and probe disagree by more than a probe can be off: one of them is wrong', () => {
    expect(cycling(started(), 48, 1.2)).not.toBeNull();
  });

  it('rings after ten minutes where a chiller holds the water against it, and not where the heater usually switches off that high', () => {
    const chiller = point('power', 'chiller-power', { equipmentId: 'reef/chiller', place: 'equipment' });
    const against = (drive: Drive, fromMs: number, chillerWatts = 340) => {
      let first: number | null = null;
      for (let atMs = fromMs; atMs < fromMs + 30 * MINUTE; atMs += MINUTE) {
        drive.reading(chiller.id, atMs, chillerWatts);
        drive.reading(water.id, atMs + 1000, 25.95);
        if (drive.reading(power.id, atMs + 2000, 498).state === 'breached') first ??= (atMs - fromMs) / MINUTE;
      }
      return first;
    };
    const installed = () => new Drive(ruleOf(heaterStuckOn, 'heater-1', { equipment: [equipment('heater', 'heater-1', facts), equipment('chiller', 'chiller', { nameplateWatts: 400 })], points: [water, power, chiller] }), T0);
    const drive = installed();
    expect(against(drive, T0)).toBe(10);
    expect(summaryOf(drive.verdict)).toContain(', and a chiller cools against it');
    // Its fan and controller alone are no cooling: a tenth of the 400 W is 40 W.
    expect(against(installed(), T0, 30)).toBeNull();
    // It has been seen to stop at 26.1 °C by this probe: that is its way, and the two fight (`heater-chiller-fighting`).
    const odd = installed();
    for (let cycle = 0; cycle < 4; cycle += 1) {
      const fromMs = T0 + cycle * HOUR;
      for (let minute = 0; minute < 8; minute += 1) {
        odd.reading(water.id, fromMs + minute * MINUTE, 26.1);
        odd.reading(power.id, fromMs + minute * MINUTE + 1000, minute < 4 ? 498 : 0);
      }
    }
    expect(against(odd, T0 + 5 * HOUR)).toBeNull();
  });

  it('does not ring for a warm room with the heater idling at 3 W', () => {
    expect(run(started(), { fromMs: T0, toMs: T0 + 24 * HOUR, celsius: () => 28, watts: () => 3 })).toBeNull();
  });

  it('does not ring for a heater that works below its line, however long', () => {
    expect(run(started(), { fromMs: T0, toMs: T0 + 48 * HOUR, celsius: () => 25.79, watts: () => 498 })).toBeNull();
  });

  it('does not ring for a thermostat that lags by half an hour in a small tank', () => {
    const minutes = run(started({ settings: { lag: '40m' } }), { fromMs: T0, toMs: T0 + HOUR, celsius: () => 26.5, watts: (_celsius, hours) => (hours < 0.5 ? 498 : 0) });
    expect(minutes).toBeNull();
  });

  it('is not fooled by a single odd meter reading into taking it for a pause', () => {
    let count = 0;
    const minutes = run(started({ settings: { lag: '20m' } }), { fromMs: T0, toMs: T0 + HOUR, celsius: () => 27, watts: () => ((count += 1) % 10 === 0 ? 0 : 498) });
    expect(minutes).toBeGreaterThanOrEqual(19);
    expect(minutes).toBeLessThanOrEqual(21);
  });

  it('takes two minutes without draw for a pause, and starts again after it', () => {
    const minutes = run(started({ settings: { lag: '20m' } }), { fromMs: T0, toMs: T0 + 2 * HOUR, celsius: () => 27, watts: (_celsius, hours) => ((hours * 60) % 18 < 15 ? 498 : 0) });
    expect(minutes).toBeNull();
  });

  it('stays breached while readings stop, is unknown meanwhile, and is one alarm until the water has cooled: a dial that is turned up lets the heater pause', () => {
    const drive = started({ settings: { lag: '10m' } });
    expect(run(drive, { fromMs: T0, toMs: T0 + HOUR, celsius: () => 27, watts: () => 498 })).not.toBeNull();
    expect(whyOf(drive.until(T0 + 2 * HOUR))).toMatch(/has gone silent/);
    drive.reading(water.id, T0 + 2 * HOUR, 27.1);
    expect(drive.reading(power.id, T0 + 2 * HOUR, 498).state).toBe('breached');
    drive.reading(power.id, T0 + 2 * HOUR + 30_000, 0);
    expect(drive.verdict.state).toBe('breached');
    expect(drive.reading(power.id, T0 + 2 * HOUR + 150_000, 0).state).toBe('breached');
    expect(summaryOf(drive.verdict)).toMatch(/^heater-1 has drawn nothing for 2 min, with the water at 27\.10 °C/);
    drive.restart();
    expect(drive.reading(power.id, T0 + 2 * HOUR + 300_000, 498).state).toBe('breached');
    drive.reading(power.id, T0 + 2 * HOUR + 400_000, 0);
    drive.reading(power.id, T0 + 2 * HOUR + 600_000, 0);
    // A minute in the air during a visit is no cooled water.
    expect(drive.reading(water.id, T0 + 2 * HOUR + 700_000, 22).state).toBe('breached');
    expect(drive.reading(water.id, T0 + 2 * HOUR + 760_000, 27).state).toBe('breached');
    expect(run(drive, { fromMs: T0 + 3 * HOUR, toMs: T0 + 3 * HOUR + 20 * MINUTE, celsius: () => 25.6, watts: () => 0 })).toBe(0);
    expect(drive.verdict.state).toBe('clear');
  });

  it('is over when the water has stayed warm for a day with the heater resting: then it is the room', () => {
    const drive = started({ settings: { lag: '10m' } });
    run(drive, { fromMs: T0, toMs: T0 + HOUR, celsius: () => 27, watts: () => 498 });
    expect(run(drive, { fromMs: T0 + HOUR, toMs: T0 + 24 * HOUR, celsius: () => 27, watts: () => 0 })).not.toBeNull();
    expect(drive.verdict.state).toBe('breached');
    run(drive, { fromMs: T0 + 24 * HOUR, toMs: T0 + 26 * HOUR, celsius: () => 27, watts: () => 0 });
    expect(drive.verdict.state).toBe('clear');
  });

  it('does not claim “without pause” across a silence in which nobody looked', () => {
    const drive = started({ settings: { lag: '30m' } });
    expect(run(drive, { fromMs: T0, toMs: T0 + 20 * MINUTE, celsius: () => 27, watts: () => 498 })).toBeNull();
    expect(run(drive, { fromMs: T0 + HOUR, toMs: T0 + HOUR + 29 * MINUTE, celsius: () => 27, watts: () => 498 })).toBeNull();
    expect(run(drive, { fromMs: T0 + HOUR + 29 * MINUTE, toMs: T0 + 2 * HOUR, celsius: () => 27, watts: () => 498 })).not.toBeNull();
  });

  it('is clear again when the water has cooled below the line, noise aside', () => {
    const drive = started({ settings: { lag: '10m' } });
    run(drive, { fromMs: T0, toMs: T0 + HOUR, celsius: () => 26.5, watts: () => 498 });
    const later = T0 + HOUR;
    expect(drive.reading(water.id, later, 25.75).state).toBe('breached');
    // A minute in the air is no cooled water.
    expect(drive.reading(water.id, later + 1, 22).state).toBe('breached');
    expect(drive.reading(water.id, later + MINUTE, 25.75).state).toBe('breached');
    expect(drive.reading(water.id, later + 2 * MINUTE, 25.69).state).toBe('breached');
    expect(run(drive, { fromMs: later + 3 * MINUTE, toMs: later + 20 * MINUTE, celsius: () => 25.69, watts: () => 498 })).toBe(0);
    expect(drive.verdict.state).toBe('clear');
  });

  it('says what a technician needs to believe it', () => {
    const drive = started();
    run(drive, { fromMs: T0, toMs: T0 + 5 * HOUR, celsius: (hours) => 26.4 + 0.25 * hours, watts: () => 498 });
    expect(summaryOf(drive.verdict)).toBe('heater-1 draws 498 W and has done so for 5 h, with the water at 27.65 °C: its thermostat should have stopped it at 25.80 °C; by this heater alone 29.00 °C is at least 2 h 48 min away');
    expect(evidenceOf(drive.verdict, 'Should switch off at')).toBeCloseTo(25.8, 9);
    expect(evidenceOf(drive.verdict, 'Warming since then')).toBe('0.25 K/h');
    // 498 W / (0.8 × 1290.5 Wh/K) = 0.482 K/h; from 27.648 to 29 °C: 2.80 h.
    expect(evidenceOf(drive.verdict, 'Warms by at most, by this heater alone')).toBe('0.48 K/h');
    expect(evidenceOf(drive.verdict, 'Cannot reach 29.00 °C by this heater alone in less than')).toBe('2 h 48 min');
  });

  it('writes only when something turns', () => {
    const drive = started();
    cycling(drive, 24, 0);
    // 24 h hold about 4 cycles of 6.6 h; each turns a handful of times (drawing, above, pause, off).
    expect(drive.writes).toBeLessThan(40);
  });

  it('reads the draw from a switch, a current or a counter', () => {
    const relay = point('switch', 'heater-1-switch', { equipmentId: 'reef/heater-1' });
    const bySwitch = started({ points: [water, relay], settings: { lag: '15m' } });
    expect(run(bySwitch, { fromMs: T0, toMs: T0 + HOUR, celsius: () => 27, watts: () => 1, draw: relay })).toBeCloseTo(15, 0);
    expect(summaryOf(bySwitch.verdict)).toContain('heater-1 has been switched on for 1 h,');
    const amps = point('current', 'heater-1-current', { equipmentId: 'reef/heater-1' });
    const byCurrent = started({ points: [water, amps], settings: { lag: '15m', supplyVolts: 230 } });
    expect(run(byCurrent, { fromMs: T0, toMs: T0 + HOUR, celsius: () => 27, watts: () => 2.1, draw: amps })).toBeCloseTo(15, 0);
    expect(evidenceOf(byCurrent.verdict, 'Draws (from the current)')).toBeCloseTo(483, 6);
    const counter = point('energy', 'heater-1-energy', { equipmentId: 'reef/heater-1' });
    const byCounter = started({ points: [water, counter], settings: { lag: '15m' } });
    expect(run(byCounter, { fromMs: T0, toMs: T0 + HOUR, celsius: () => 27, watts: (_celsius, hours) => Math.round((70 + 0.5 * hours) * 1000) / 1000, draw: counter })).toBeCloseTo(15.5, 0);
  });

  it('says what is missing', () => {
    const why = (options: Parameters<typeof started>[0]) => whyOf(started(options).verdict);
    expect(why({ heater: { setpointC: null } })).toBe('no setpoint is entered for heater-1');
    expect(why({ points: [power] })).toBe('no temperature point in the display or the sump');
    expect(why({ points: [water] })).toBe('no power, current, energy or switch point on heater-1');
    expect(why({})).toBe('display-temperature has not delivered yet');
  });
});
