import { describe, expect, it } from 'vitest';
import { HOUR, MINUTE } from '../../../src/domain/duration.ts';
import heaterAtLimit from '../../../src/rules/kinds/heater-at-limit.ts';
import { equipment, point, ruleOf } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';

const water = point('temperature', 'display-temperature');
const on = (name: string) => ({ equipmentId: `reef/${name}` });
const one = point('power', 'heater-1-power', on('heater-1'));
const two = point('power', 'heater-2-power', on('heater-2'));
const heaters = [
  equipment('heater', 'heater-1', { setpointC: 25.5, bandK: 0.3, nameplateWatts: 300 }),
  equipment('heater', 'heater-2', { setpointC: 25, bandK: 0.3, nameplateWatts: 300 }),
];
const started = (installed = { equipment: heaters, points: [water, one, two] }) => new Drive(ruleOf(heaterAtLimit, 'heater-1', installed), T0);

interface Now {
  readonly celsius: number;
  readonly watts: readonly [number, number];
}

/** @returns minutes until the first breach. */
function run(drive: Drive, hours: number, at: (hour: number) => Now, fromMs = T0): number | null {
  let first: number | null = null;
  for (let atMs = fromMs; atMs < fromMs + hours * HOUR; atMs += MINUTE) {
    const { celsius, watts } = at((atMs - fromMs) / HOUR);
    drive.reading(one.id, atMs, watts[0]);
    drive.reading(two.id, atMs, watts[1]);
    if (drive.reading(water.id, atMs + 5000, celsius).state === 'breached') first ??= (atMs - fromMs) / MINUTE;
  }
  return first;
}

describe('heater-at-limit', () => {
  it('is the same alarm when it gives in on the next night as well: warm days between are shorter than its off-delay', () => {
    expect(heaterAtLimit.policy.offDelayMs).toBeGreaterThan(16 * HOUR);
    expect(heaterAtLimit.policy.offDelayMs).toBeLessThan(24 * HOUR);
  });

  it('rings after four hours of heating with all there is, with the water below the line and not rising', () => {
    const drive = started();
    expect(run(drive, 6, (hour) => ({ celsius: 25 - 0.05 * hour, watts: [298, 301] }))).toBeCloseTo(240, -1);
    expect(summaryOf(drive.verdict)).toMatch(/^heater-1 has heated without pause for 5 h 59 min \(599 W in all\), and the water is at 24\.70 °C and not rising, where 25\.50 °C should be held$/);
    expect(evidenceOf(drive.verdict, 'Should not sink below')).toBe(25.2);
  });

  it('does not ring as long as the other heater is in reserve, nor while the water rises', () => {
    expect(run(started(), 12, (hour) => ({ celsius: 25.1 - 0.01 * hour, watts: [298, 1] }))).toBeNull();
    expect(run(started(), 20, (hour) => ({ celsius: 23 + 0.1 * hour, watts: [298, 301] }))).toBeNull();
  });

  it('does not ring when a thermostat still decides, however cold the night', () => {
    expect(run(started(), 48, (hour) => ({ celsius: 25.1 - 0.001 * hour, watts: hour % 3 < 0.2 ? [0, 0] : [298, 301] }))).toBeNull();
  });

  it('looks through short dips of a meter', () => {
    const drive = started();
    expect(run(drive, 6, (hour) => ({ celsius: 25 - 0.05 * hour, watts: Math.round(hour * 60) % 50 === 7 ? [0, 301] : [298, 301] }))).toBeCloseTo(240, -1);
  });

  it('is over when a heater pauses or the water is back', () => {
    const drive = started();
    run(drive, 6, (hour) => ({ celsius: 25 - 0.05 * hour, watts: [298, 301] }));
    drive.restart();
    run(drive, 0.2, () => ({ celsius: 25.25, watts: [298, 301] }), T0 + 6 * HOUR);
    expect(drive.verdict.state).toBe('clear');
  });

  it('starts again after a silence, and writes about once an hour', () => {
    const drive = started();
    run(drive, 3, () => ({ celsius: 24.9, watts: [298, 301] }));
    expect(whyOf(drive.until(T0 + 4 * HOUR))).toMatch(/gone silent/);
    expect(run(drive, 6, () => ({ celsius: 24.9, watts: [298, 301] }), T0 + 4 * HOUR)).toBeCloseTo(240, -1);
    const busy = started();
    run(busy, 24, () => ({ celsius: 25.1, watts: [298, 301] }));
    expect(busy.writes).toBeLessThanOrEqual(26);
  });

  it('says what is missing', () => {
    expect(whyOf(started({ equipment: heaters, points: [water] }).verdict)).toBe('no power, current, energy or switch point on a heater of this tank');
    expect(whyOf(started({ equipment: heaters, points: [one, two] }).verdict)).toBe('no temperature point in the display or the sump');
    expect(whyOf(started({ equipment: [{ ...heaters[0] as (typeof heaters)[number], setpointC: null }], points: [water, one] }).verdict)).toBe('no setpoint is entered for heater-1');
  });
});
