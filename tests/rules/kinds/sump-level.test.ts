/** sump-high and sump-low, which share what is usual. */
import { describe, expect, it } from 'vitest';
import { DAY, HOUR, MINUTE } from '../../../src/domain/duration.ts';
import type { Point } from '../../../src/domain/fleet.ts';
import type { RuleKind } from '../../../src/rules/contract.ts';
import sumpHigh from '../../../src/rules/kinds/sump-high.ts';
import sumpLow from '../../../src/rules/kinds/sump-low.ts';
import { equipment, point, ruleOf, setting } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';

const gauge = point('level', 'sump-level', { place: 'sump', everyMs: MINUTE });
const float = point('switch', 'sump-high-float', { place: 'sump', everyMs: MINUTE });
const power = point('power', 'pump-power', { place: 'equipment', equipmentId: 'reef/return-pump', everyMs: MINUTE });

function started(kind: RuleKind, settings: Record<string, unknown> = {}, points: readonly Point[] = [gauge, power], subject = 'sump-level'): Drive {
  return new Drive(ruleOf(kind, subject, { equipment: [equipment('return-pump', 'return-pump', { nameplateWatts: 85 })], points, ruleSettings: [setting(kind.kind, subject, settings)] }), T0);
}

/** A reading a minute of a millimetre gauge, with a millimetre of ripple. @returns how long it was breached. */
function feed(drive: Drive, forMs: number, mm: (sinceMs: number) => number, pumpW: (sinceMs: number) => number = () => 70): number {
  const fromMs = drive.nowMs + MINUTE;
  let breachedMs = 0;
  for (let atMs = fromMs; atMs < fromMs + forMs; atMs += MINUTE) {
    drive.reading(power.id, atMs, pumpW(atMs - fromMs));
    if (drive.reading(gauge.id, atMs, Math.round(mm(atMs - fromMs) + ((atMs / MINUTE) % 3) - 1)).state === 'breached') breachedMs += MINUTE;
  }
  return breachedMs;
}

/** Falls by evaporation and is topped up every three hours. */
const healthy = (sinceMs: number): number => 250 - ((sinceMs % (3 * HOUR)) / (3 * HOUR)) * 3;

describe('sump-high', () => {
  it('learns within a day, and is breached 25 mm above what is usual', () => {
    const drive = started(sumpHigh);
    feed(drive, 20 * HOUR, healthy);
    expect(whyOf(drive.verdict)).toBe('its usual level is being learnt: it takes 24 hours with the return pump running');
    feed(drive, 6 * HOUR, healthy);
    expect(drive.verdict.state).toBe('clear');
    drive.reading(gauge.id, drive.nowMs + MINUTE, 272);
    expect(drive.verdict.state).toBe('clear');
    drive.reading(gauge.id, drive.nowMs + MINUTE, 280);
    expect(summaryOf(drive.verdict)).toBe('the sump stands at 280 mm, too high from 274 mm; 249 mm is usual');
    drive.reading(gauge.id, drive.nowMs + MINUTE, 271);
    expect(drive.verdict.state).toBe('breached');
    drive.reading(gauge.id, drive.nowMs + MINUTE, 268);
    expect(drive.verdict.state).toBe('clear');
  });

  it('does not mind what drains down while the return pump stands: feeding, a visit, a failed pump', () => {
    const drive = started(sumpHigh);
    feed(drive, 2 * DAY, healthy);
    expect(feed(drive, 2 * HOUR, () => 300, () => 0)).toBe(0);
    // Four minutes to draw it down again are within the on-delay.
    expect(feed(drive, HOUR, (sinceMs) => 250 + 50 * Math.max(0, 1 - sinceMs / (4 * MINUTE)))).toBeLessThanOrEqual(ruleOf(sumpHigh, 'sump-level', { points: [gauge] }).policy.onDelayMs / 2);
  });

  it('finds a sump that somebody has overfilled, and goes on finding it for days', () => {
    const drive = started(sumpHigh);
    feed(drive, 3 * DAY, healthy);
    expect(feed(drive, DAY, () => 380)).toBe(DAY);
    expect(evidenceOf(drive.verdict, 'For')).toBe('23 h 59 min');
    drive.restart();
    expect(feed(drive, HOUR, () => 380)).toBe(HOUR);
  });

  it('takes a level that stays for the usual one after four days: the weir was moved', () => {
    const drive = started(sumpHigh);
    feed(drive, 7 * DAY, healthy);
    expect(feed(drive, 6 * DAY, () => 290)).toBeLessThan(4.5 * DAY);
  });

  it('is breached when the float for high water closes, whatever the pump does', () => {
    const drive = started(sumpHigh, {}, [float, power], 'sump-high-float');
    expect([drive.reading(float.id, T0, 0).state, drive.reading(float.id, T0 + 1, 1).state]).toEqual(['clear', 'breached']);
    expect(summaryOf(drive.verdict)).toBe('the float for high water in the sump has closed');
  });

  it('takes a limit from the fleet file, and needs no learning then', () => {
    const drive = started(sumpHigh, { high: 300 });
    expect([299, 301].map((mm, index) => drive.reading(gauge.id, T0 + index, mm).state)).toEqual(['clear', 'breached']);
  });

  it('writes every ten minutes at most', () => {
    const drive = started(sumpHigh);
    feed(drive, 9 * DAY, healthy);
    expect(drive.writes).toBeLessThanOrEqual((9 * DAY) / (10 * MINUTE) + 5);
    expect(JSON.stringify(drive.state).length).toBeLessThan(4096);
  });
});

describe('sump-low', () => {
  it('finds a sump whose top-off has failed, within two days', () => {
    const drive = started(sumpLow);
    feed(drive, 5 * DAY, healthy);
    // 20 mm a day, as a tank with a twentieth of its surface in the sump loses.
    const breachedMs = feed(drive, 2 * DAY, (sinceMs) => 250 - (20 * sinceMs) / DAY);
    expect(breachedMs).toBeGreaterThan(12 * HOUR);
    expect(breachedMs).toBeLessThan(22 * HOUR);
    expect(summaryOf(drive.verdict)).toMatch(/^the sump stands at 209 mm, too low from 22[34] mm; 24[89] mm is usual$/);
  });

  it('knows a sump that is topped up by hand once a week', () => {
    const drive = started(sumpLow);
    const weekly = (sinceMs: number): number => 250 - ((sinceMs % (7 * DAY)) / DAY) * 9;
    feed(drive, 7 * DAY, weekly);
    expect(feed(drive, 14 * DAY, weekly)).toBe(0);
  });

  it('is quiet through water changes and pauses', () => {
    const drive = started(sumpLow);
    feed(drive, 3 * DAY, healthy);
    expect(feed(drive, 30 * MINUTE, () => 290, () => 0)).toBe(0);
    expect(feed(drive, 10 * MINUTE, () => 215)).toBeLessThan(ruleOf(sumpLow, 'sump-level', { points: [gauge] }).policy.onDelayMs);
    expect(feed(drive, 3 * DAY, healthy)).toBe(0);
  });

  it('takes a limit from the fleet file, and is unknown without readings', () => {
    const drive = started(sumpLow, { low: 200 });
    expect(whyOf(drive.verdict)).toBe('sump-level has not delivered yet');
    expect([201, 199].map((mm, index) => drive.reading(gauge.id, T0 + index, mm).state)).toEqual(['clear', 'breached']);
  });

  it('is not proposed where no gauge stands in the sump', () => {
    expect(sumpLow.apply({ tank: { id: 'reef' } as never, site: {} as never, equipment: [], points: [float], neighbours: { equipment: [], points: [] } })).toEqual([]);
  });
});
