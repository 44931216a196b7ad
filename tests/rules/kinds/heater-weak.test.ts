import { describe, expect, it } from 'vitest';
import { DAY, HOUR, MINUTE } from '../../../src/domain/duration.ts';
import heaterWeak from '../../../src/rules/kinds/heater-weak.ts';
import { equipment, point, ruleOf, setting } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';

const water = point('temperature', 'display-temperature');
const volts = point('voltage', 'supply', { id: 'harbor-lobby/supply', tankId: null });
const power = point('power', 'heater-1-power', { equipmentId: 'reef/heater-1' });
const other = point('power', 'heater-2-power', { equipmentId: 'reef/heater-2' });
const heater = equipment('heater', 'heater-1', { setpointC: 25.5, bandK: 0.3, nameplateWatts: 500 });
const second = equipment('heater', 'heater-2', { nameplateWatts: 500 });
const started = (points = [water, power, volts], settings: object = {}, installed = [heater]) =>
  new Drive(ruleOf(heaterWeak, 'heater-1', { equipment: installed, points, ruleSettings: [setting('heater-weak', 'heater-1', { ...settings })] }), T0);

interface House {
  /** Of the element, at 120 V. */
  readonly watts?: number;
  /** Share of it that reaches the water. */
  readonly reaches?: number;
  readonly supply?: (hours: number) => number;
  readonly otherWatts?: number;
  readonly fromMs?: number;
}

/** 1135.6 L of seawater (1290.5 Wh/K: reference table for 300 US gal, computed) that loses 130 W; the thermostat at 25.5 ± 0.3 °C. A reading a minute. */
function run(drive: Drive, hours: number, { watts = 500, reaches = 1, supply = () => 120, otherWatts, fromMs = T0 }: House): number | null {
  let celsius = 25.4;
  let heats = false;
  let first: number | null = null;
  for (let atMs = fromMs; atMs < fromMs + hours * HOUR; atMs += MINUTE) {
    const volt = supply((atMs - fromMs) / HOUR);
    const drawn = heats ? watts * (volt / 120) ** 2 : 0;
    celsius += (drawn * reaches - 130) / 1290.5 / 60;
    heats = heats ? celsius < 25.8 : celsius < 25.2;
    drive.reading(volts.id, atMs, volt);
    drive.reading(water.id, atMs, Math.round(celsius * 50) / 50);
    if (otherWatts !== undefined) drive.reading(other.id, atMs, otherWatts);
    const shown = drawn * (1 + 0.003 * Math.sin(atMs / 7));
    if (drive.reading(power.id, atMs + 1000, shown).state === 'breached') first ??= (atMs - fromMs) / HOUR;
  }
  return first;
}

describe('heater-weak, by its nameplate', () => {
  it('finds half an element, and says what a sound one would draw', () => {
    const drive = started();
    expect(run(drive, 24, { watts: 275 })).not.toBeNull();
    expect(summaryOf(drive.verdict)).toMatch(/^heater-1 draws about 27\d W while it heats, 55 % of its 500 W; voltage, maker’s tolerance and meter explain no less than 441 W$/);
    expect(evidenceOf(drive.verdict, 'A sound one draws')).toBe('441 to 536 W');
    expect(evidenceOf(drive.verdict, 'Supply')).toBe(120);
  });

  it('needs six minutes of heating for it, after days in which it was sound, and writes nothing in those', () => {
    const drive = started();
    run(drive, 48, {});
    const { writes } = drive;
    const heat = (minutes: number, watts: number): number | null => {
      const fromMs = drive.nowMs + MINUTE;
      for (let minute = 0; minute < minutes; minute += 1) {
        const atMs = fromMs + minute * MINUTE;
        drive.reading(volts.id, atMs, 120);
        drive.reading(water.id, atMs, 25.3);
        if (drive.reading(power.id, atMs + 1000, watts).state === 'breached') return minute;
      }
      return null;
    };
    expect(heat(18, 500)).toBeNull();
    expect(drive.writes - writes).toBeLessThanOrEqual(2);
    expect(heat(10, 275)).toBeLessThanOrEqual(6);
  });

  // P ∝ V²: 0.9025 to 1.1025 of the nameplate within ±5 % of the voltage.
  it('does not take a sagging or high supply for a weak heater, measured or not', () => {
    expect(run(started(), 48, { supply: (hours) => 120 * (1 - 0.12 * Math.abs(Math.sin(hours))) })).toBeNull();
    expect(run(started([water, power]), 48, { supply: () => 120 * 0.92 })).toBeNull();
    expect(run(started([water, power]), 48, { supply: () => 120 * 1.05 })).toBeNull();
    expect(run(started([water, power]), 24, { watts: 330 })).not.toBeNull();
  });

  it('finds a heater that is larger than the fleet file says', () => {
    const drive = started();
    expect(run(drive, 12, { watts: 750 })).not.toBeNull();
    expect(summaryOf(drive.verdict)).toMatch(/150 % of its 500 W; .* explain no more than 536 W$/);
  });

  it('knows a 230 V heater by its supply', () => {
    const drive = started();
    for (let minute = 0; minute < 120; minute += 1) {
      drive.reading(volts.id, T0 + minute * MINUTE, 228);
      drive.reading(power.id, T0 + minute * MINUTE + 1, 490);
    }
    expect(drive.verdict.state).toBe('clear');
  });

  it('believes a new heater after three readings', () => {
    const drive = started();
    run(drive, 12, { watts: 275 });
    drive.restart();
    expect(drive.verdict.state).toBe('breached');
    run(drive, 12, { fromMs: T0 + 12 * HOUR });
    expect(drive.verdict.state).toBe('clear');
  });
});

describe('heater-weak, by what the water does', () => {
  it('is quiet for two weeks of a sound heater, and writes when something switches or an hour is over', () => {
    const drive = started();
    expect(run(drive, 14 * 24, {})).toBeNull();
    expect(drive.verdict.state).toBe('clear');
    expect(drive.writes).toBeLessThan(14 * 24 * 4);
    const { responses } = drive.state as { responses: readonly number[] };
    expect(responses).toHaveLength(9);
    for (const response of responses) expect(Math.abs(response - 1)).toBeLessThan(0.15);
  });

  it('finds a heater of which a third reaches the water', () => {
    const drive = started();
    expect(run(drive, 10 * 24, { reaches: 0.32 })).not.toBeNull();
    expect(summaryOf(drive.verdict)).toMatch(/^heater-1 draws, and the water warms by only 3\d % of what 500 W should do \(0\.1\d of 0\.39 K\/h\)$/);
    expect(run(started([water, power, volts], { leastResponse: 0 }), 10 * 24, { reaches: 0.32 })).toBeNull();
  });

  it('does not compare while another heater runs', () => {
    const drive = started([water, power, volts, other], {}, [heater, second]);
    expect(run(drive, 10 * 24, { reaches: 0.32, otherWatts: 480 })).toBeNull();
  });
});

describe('heater-weak', () => {
  it('says what is missing, and what it waits for', () => {
    expect(whyOf(started([water]).verdict)).toBe('no power, current or energy point on heater-1');
    expect(whyOf(started([water, power], {}, [{ ...heater, nameplateWatts: null }]).verdict)).toBe('no nameplate power is entered for heater-1');
    const drive = started();
    drive.reading(power.id, T0, 0);
    expect(whyOf(drive.verdict)).toBe('has not been seen heating often enough yet');
    expect(whyOf(drive.until(T0 + DAY))).toMatch(/gone silent/);
  });
});
