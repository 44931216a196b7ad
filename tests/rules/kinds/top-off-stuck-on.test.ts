import { describe, expect, it } from 'vitest';
import { HOUR, MINUTE } from '../../../src/domain/duration.ts';
import type { Point } from '../../../src/domain/fleet.ts';
import topOffStuckOn from '../../../src/rules/kinds/top-off-stuck-on.ts';
import { equipment, point, ruleOf, setting } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';

const power = point('power', 'top-off-power', { equipmentId: 'reef/top-off', place: 'equipment', everyMs: MINUTE });
const sump = point('level', 'sump-level', { place: 'sump', everyMs: MINUTE });
const gauge = point('level', 'reservoir-level', { place: 'reservoir', equipmentId: 'reef/reservoir', everyMs: MINUTE });
const installed = [equipment('top-off-pump', 'top-off', { nameplateWatts: 10 }), equipment('top-off-reservoir', 'reservoir', { fullMm: 400 })];
const started = (settings: Record<string, unknown> = {}, points: readonly Point[] = [power, sump, gauge]) =>
  new Drive(ruleOf(topOffStuckOn, 'top-off', { equipment: installed, points, ruleSettings: [setting('top-off-stuck-on', 'top-off', settings)] }), T0);

function feed(drive: Drive, minutes: number, watts: number, sumpMm: (minute: number) => number = () => 250, reservoirMm = 300): string {
  const fromMs = drive.nowMs + MINUTE;
  for (let minute = 0; minute < minutes; minute += 1) {
    drive.reading(sump.id, fromMs + minute * MINUTE, sumpMm(minute));
    drive.reading(gauge.id, fromMs + minute * MINUTE, reservoirMm);
    drive.reading(power.id, fromMs + minute * MINUTE, watts);
  }
  return drive.verdict.state;
}

describe('top-off-stuck-on', () => {
  it('is breached after more than ten minutes without a pause', () => {
    const drive = started();
    feed(drive, 30, 0);
    expect(feed(drive, 11, 9)).toBe('clear');
    expect(feed(drive, 1, 9)).toBe('breached');
    expect(feed(drive, 20, 9, (minute) => 250 + minute)).toBe('breached');
    expect(summaryOf(drive.verdict)).toBe('top-off has run for 31 min without a pause; the sump has risen by 19 mm');
    expect(evidenceOf(drive.verdict, 'Longest run allowed')).toBe('10 min');
    drive.restart();
    expect(feed(drive, 1, 9)).toBe('breached');
    expect(feed(drive, 1, 0)).toBe('clear');
  });

  it('is quiet at runs of a few minutes, all day long', () => {
    const drive = started();
    for (let cycle = 0; cycle < 100; cycle += 1) {
      expect(feed(drive, 3, 9)).toBe('clear');
      expect(feed(drive, 40, 0.4)).toBe('clear');
    }
  });

  it('says when the water does not arrive', () => {
    const drive = started();
    feed(drive, 15, 9);
    expect(summaryOf(drive.verdict)).toMatch(/the sump has not risen: the water may go elsewhere, or none comes$/);
  });

  it('leaves an empty reservoir to top-off-empty', () => {
    expect(feed(started(), 60, 5, () => 240, 10)).toBe('clear');
  });

  it('stays found when it has emptied the reservoir, until that is filled up again', () => {
    const drive = started();
    feed(drive, 30, 0);
    expect(feed(drive, 15, 9)).toBe('breached');
    expect(feed(drive, 5, 9, () => 290, 12)).toBe('breached');
    expect(summaryOf(drive.verdict)).toBe('top-off has run without a pause and emptied the reservoir into the tank; the sump has risen by 40 mm');
    drive.restart();
    expect(feed(drive, 60, 0, () => 290, 15)).toBe('breached');
    // A gauge that scatters about the mark has not been filled up.
    expect(feed(drive, 2, 0, () => 290, 24)).toBe('breached');
    expect(feed(drive, 2, 0, () => 270, 380)).toBe('clear');
    expect(feed(drive, 5, 9, () => 270, 380)).toBe('clear');
  });

  it('lets the first run after that make up what is missing', () => {
    const drive = started();
    feed(drive, 60, 5, () => 200, 10);
    expect(feed(drive, 40, 9, (minute) => 200 + minute)).toBe('clear');
    expect(feed(drive, 60, 0)).toBe('clear');
    expect(feed(drive, 12, 9)).toBe('breached');
  });

  it('does not take readings before and after a silence for one run', () => {
    const drive = started();
    feed(drive, 5, 9);
    drive.until(drive.nowMs + 20 * MINUTE);
    expect(feed(drive, 8, 9)).toBe('clear');
  });

  it('takes a longer run from the fleet file, and is unknown when its meter is silent or missing', () => {
    expect(feed(started({ maxRun: '30m' }), 30, 9)).toBe('clear');
    const drive = started();
    feed(drive, 1, 0);
    expect(whyOf(drive.until(drive.nowMs + HOUR))).toBe('top-off-power has gone silent');
    expect(ruleOf(topOffStuckOn, 'top-off', { equipment: installed, points: [sump] }).missing).toBe('no power, current, energy or switch point on top-off');
  });

  it('writes when it starts or stops only', () => {
    const drive = started();
    feed(drive, 600, 0);
    expect(drive.writes).toBe(0);
    feed(drive, 60, 9);
    expect(drive.writes).toBe(1);
  });
});
