import { describe, expect, it } from 'vitest';
import { DAY, HOUR, MINUTE } from '../../../src/domain/duration.ts';
import type { Point } from '../../../src/domain/fleet.ts';
import pumpDrawShifted from '../../../src/rules/kinds/pump-draw-shifted.ts';
import { compileRules } from '../../../src/rules/compile.ts';
import { equipment, fleet, point, ruleOf, setting } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';

const power = point('power', 'pump-power', { equipmentId: 'reef/return-pump', place: 'equipment', everyMs: MINUTE });
const volts = point('voltage', 'supply', { id: 'harbor-lobby/supply', tankId: null, place: 'room', everyMs: MINUTE });
const pump = equipment('return-pump', 'return-pump', { nameplateWatts: 85 });
const started = (settings: Record<string, unknown> = {}, points: readonly Point[] = [power]) =>
  new Drive(ruleOf(pumpDrawShifted, 'return-pump', { equipment: [pump], points, ruleSettings: [setting('pump-draw-shifted', 'return-pump', settings)] }), T0);

/** A reading a minute of a plug meter: 0.4 % of noise, a step of 0.1 W. @returns ms from the start to the first breach, or `null`. */
function feed(drive: Drive, forMs: number, watts: (sinceMs: number) => number, supply: number | null = null): number | null {
  const fromMs = drive.nowMs + MINUTE;
  let first: number | null = null;
  for (let atMs = fromMs; atMs < fromMs + forMs; atMs += MINUTE) {
    if (supply !== null) drive.reading(volts.id, atMs, supply);
    const value = watts(atMs - fromMs) * (1 + 0.004 * Math.sin(atMs / 7919));
    if (drive.reading(power.id, atMs, Math.round(value * 10) / 10).state === 'breached') first ??= atMs - fromMs;
  }
  return first;
}

/** 70 W, pulled about by the voltage over the day, stopped eight minutes a day for feeding. */
const healthy = (sinceMs: number): number => (sinceMs % DAY < 8 * MINUTE ? 0.3 : 70 * (1 - 0.015 * Math.sin((2 * Math.PI * sinceMs) / DAY)));

describe('pump-draw-shifted', () => {
  it('is quiet for weeks of feeding pauses, visits and a wandering voltage', () => {
    const drive = started();
    feed(drive, 12 * HOUR, healthy);
    expect(whyOf(started().reading(power.id, T0, 70))).toMatch(/being learnt: it takes twelve hours/);
    expect(feed(drive, 21 * DAY, healthy)).toBeNull();
    expect(feed(drive, 55 * MINUTE, () => 0)).toBeNull();
    expect(feed(drive, DAY, healthy)).toBeNull();
  });

  it('finds a pump that runs dry within ten minutes', () => {
    const drive = started();
    feed(drive, 4 * DAY, healthy);
    const foundMs = feed(drive, 2 * HOUR, () => 38.5) ?? Number.NaN;
    expect(foundMs).toBe(8 * MINUTE);
    expect(summaryOf(drive.verdict)).toMatch(/^return-pump draws 3[89] W where (69|70) W are normal \(-45 %\): air, a clogged intake or a throttled outlet$/);
    expect(evidenceOf(drive.verdict, 'For')).toBe('1 h 59 min');
    drive.restart();
    expect(feed(drive, 10 * MINUTE, () => 38.5)).toBe(0);
    expect(feed(drive, 5 * MINUTE, () => 70)).toBeNull();
  });

  it('finds a smaller drop as fast where the sump has risen by what drains down, and not where it has not', () => {
    const sump = point('level', 'sump-level', { place: 'sump', everyMs: MINUTE });
    const found = (mm: number) => {
      const drive = started({}, [power, sump]);
      // The level goes with each reading of the meter: 240 mm, then what it rises to.
      const both = (forMs: number, watts: (sinceMs: number) => number, level: number) => feed(drive, forMs, (sinceMs) => (drive.reading(sump.id, drive.nowMs, level), watts(sinceMs)));
      both(4 * DAY, healthy, 240);
      const first = both(HOUR, () => 60, mm);
      return { first, drive };
    };
    const risen = found(268);
    expect(risen.first).toBe(8 * MINUTE);
    expect(evidenceOf(risen.drive.verdict, 'Sump before')).toBe(240);
    expect(found(244).first).toBeNull();
  });

  it('finds one that clogs over a week, when a third of that week has gone', () => {
    const drive = started();
    feed(drive, 8 * DAY, healthy);
    const foundMs = feed(drive, 7 * DAY, (sinceMs) => healthy(sinceMs) * (1 - (0.27 * sinceMs) / (7 * DAY))) ?? Number.NaN;
    expect(foundMs).toBeGreaterThan(DAY);
    expect(foundMs).toBeLessThan(3.5 * DAY);
  });

  it('does not learn what is odd, and learns afresh from the day of a change', () => {
    const drive = started();
    feed(drive, 4 * DAY, healthy);
    feed(drive, 10 * DAY, () => 100);
    expect(summaryOf(drive.verdict)).toMatch(/something that drags on its impeller/);
    const changed = new Drive(ruleOf(pumpDrawShifted, 'return-pump', { equipment: [pump], points: [power], ruleSettings: [setting('pump-draw-shifted', 'return-pump', { changedOn: '2026-03-15' })] }), T0);
    feed(changed, 4 * DAY, healthy);
    feed(changed, 9 * DAY, () => 100);
    expect(changed.verdict.state).toBe('breached');
    feed(changed, 3 * DAY, () => 100);
    expect(changed.verdict.state).toBe('clear');
  });

  it('does not blame the pump for a supply that sags', () => {
    const drive = started({}, [power, volts]);
    feed(drive, 2 * DAY, healthy, 120);
    expect(feed(drive, 12 * HOUR, () => 57, 98)).toBeNull();
    expect(feed(drive, DAY, healthy, 120)).toBeNull();
  });

  it('is unknown without a meter, and proposed for stream pumps only where they have one', () => {
    const stream = equipment('circulation-pump', 'stream');
    const rules = (points: readonly Point[]) => compileRules(fleet({ equipment: [pump, stream], points }), new Map([['pump-draw-shifted', pumpDrawShifted]])).map(({ subject, missing }) => [subject, missing]);
    expect(rules([])).toEqual([['reef/return-pump', 'no power, current or energy point on return-pump']]);
    expect(rules([power, point('power', 'stream-power', { equipmentId: 'reef/stream' })])).toEqual([['reef/return-pump', null], ['reef/stream', null]]);
    const drive = started();
    feed(drive, HOUR, healthy);
    expect(whyOf(drive.until(drive.nowMs + HOUR))).toBe('pump-power has gone silent');
  });

  it('writes every five minutes at most, and stays small', () => {
    const drive = started();
    feed(drive, 10 * DAY, healthy);
    expect(drive.writes).toBeLessThanOrEqual((10 * DAY) / (5 * MINUTE) + 25);
    expect(JSON.stringify(drive.state).length).toBeLessThan(4096);
  });
});
