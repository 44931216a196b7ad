import { describe, expect, it } from 'vitest';
import { HOUR, MINUTE } from '../../../src/domain/duration.ts';
import type { Point } from '../../../src/domain/fleet.ts';
import topOffFailed from '../../../src/rules/kinds/top-off-failed.ts';
import { equipment, point, reef, ruleOf } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';

const power = point('power', 'top-off-power', { equipmentId: 'reef/top-off', place: 'equipment', everyMs: MINUTE });
const sump = point('level', 'sump-level', { place: 'sump', everyMs: MINUTE });
const pump = equipment('top-off-pump', 'top-off', { nameplateWatts: 10 });
const rule = (points: readonly Point[]) => ruleOf(topOffFailed, 'top-off', { equipment: [pump], points });
const started = () => new Drive(rule([power, sump]), T0);

/** @returns ms from the start to the first breach, or `null`. */
function feed(drive: Drive, forMs: number, mm: (sinceMs: number) => number, watts: (sinceMs: number) => number): number | null {
  const fromMs = drive.nowMs + MINUTE;
  let first: number | null = null;
  for (let atMs = fromMs; atMs < fromMs + forMs; atMs += MINUTE) {
    drive.reading(sump.id, atMs, Math.round(mm(atMs - fromMs) + ((atMs / MINUTE) % 3) - 1));
    if (drive.reading(power.id, atMs, watts(atMs - fromMs)).state === 'breached') first ??= atMs - fromMs;
  }
  return first;
}

/** Falls 2.5 mm in three hours, then two minutes of top-off. */
const every3h = (sinceMs: number): number => 250 - ((sinceMs % (3 * HOUR)) / (3 * HOUR)) * 2.5;
const pumping = (sinceMs: number): number => (sinceMs % (3 * HOUR) < 2 * MINUTE ? 8 : 0.3);

describe('top-off-failed', () => {
  it('finds a pump that does not run any more while the sump falls 20 mm a day', () => {
    const drive = started();
    expect(feed(drive, 48 * HOUR, every3h, pumping)).toBeNull();
    expect(drive.verdict.state).toBe('clear');
    const foundMs = feed(drive, 24 * HOUR, (sinceMs) => 250 - (20 * sinceMs) / (24 * HOUR), () => 0) ?? Number.NaN;
    expect(foundMs).toBeGreaterThan(6 * HOUR);
    expect(foundMs).toBeLessThan(14 * HOUR);
    expect(summaryOf(drive.verdict)).toMatch(/^top-off has not run for 1 d 2 h \(it usually pauses for no more than 2 h 58 min\), and the water has fallen by (19|20|21|22|23) mm$/);
    expect(evidenceOf(drive.verdict, 'Usual pause, at the most')).toBe('2 h 58 min');
    drive.restart();
    expect(feed(drive, 10 * MINUTE, () => 230, () => 0)).toBe(0);
    expect(feed(drive, 10 * MINUTE, () => 230, () => 8)).toBeNull();
  });

  it('is quiet when somebody has poured water in, and when it pauses for longer without a fall', () => {
    const drive = started();
    feed(drive, 48 * HOUR, every3h, pumping);
    expect(feed(drive, 20 * HOUR, (sinceMs) => 268 - (20 * sinceMs) / (24 * HOUR), () => 0)).toBeNull();
  });

  it('is quiet when the sump falls at once while the pump runs as ever', () => {
    const drive = started();
    feed(drive, 48 * HOUR, every3h, pumping);
    expect(feed(drive, 24 * HOUR, (sinceMs) => every3h(sinceMs) - 25, pumping)).toBeNull();
  });

  it('is unknown until it has seen the pump at work, and when something is missing', () => {
    expect(whyOf(started().verdict)).toBe('top-off-power has not delivered yet');
    const drive = started();
    feed(drive, 4 * HOUR, every3h, pumping);
    expect(whyOf(drive.verdict)).toBe('learning how often it runs: 1 of 4 pauses seen');
    expect(rule([power]).missing).toBe('no level point in the sump');
    expect(rule([sump]).missing).toBe('no power, current, energy or switch point on top-off');
    const display = ruleOf(topOffFailed, 'top-off', { equipment: [pump], points: [power, point('level', 'display-level')], tanks: [{ ...reef, sumpLitres: 0 }] });
    expect([display.missing, display.roles.get('water')?.id]).toEqual([null, 'reef/display-level']);
  });

  it('writes when the pump starts or stops only', () => {
    const drive = started();
    feed(drive, 48 * HOUR, every3h, pumping);
    expect(drive.writes).toBeLessThanOrEqual(33);
  });
});
