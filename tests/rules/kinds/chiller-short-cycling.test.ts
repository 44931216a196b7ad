import { describe, expect, it } from 'vitest';
import { HOUR, MINUTE } from '../../../src/domain/duration.ts';
import chillerShortCycling from '../../../src/rules/kinds/chiller-short-cycling.ts';
import { equipment, point, ruleOf, setting } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';

// 12 starts an hour and 180 s off: Danfoss, scroll compressor application guideline FRCC.PC.007, p. 27.
const power = point('power', 'chiller-power', { equipmentId: 'reef/chiller', everyMs: 30_000 });
const started = (settings: Record<string, unknown> = {}) => new Drive(ruleOf(chillerShortCycling, 'chiller', { equipment: [equipment('chiller', 'chiller', { nameplateWatts: 400 })], points: [power], ruleSettings: [setting('chiller-short-cycling', 'chiller', settings)] }), T0);

/** A compressor that runs `onS` and rests `offS`, sampled every `everyS`; the verdicts. */
function cycle(drive: Drive, { onS, offS, hours, everyS = 30, fromMs = T0, offWatts = 2 }: { onS: number; offS: number; hours: number; everyS?: number; fromMs?: number; offWatts?: number }): string[] {
  const verdicts: string[] = [];
  for (let second = 0; second < hours * 3600; second += everyS) {
    const running = second % (onS + offS) >= offS;
    verdicts.push(drive.reading(power.id, fromMs + second * 1000, running ? 395 : offWatts).state);
  }
  return verdicts;
}

describe('chiller-short-cycling', () => {
  it('lets 12 starts an hour pass, with off-times of 180 s', () => {
    expect(cycle(started(), { onS: 120, offS: 180, hours: 6 })).not.toContain('breached');
  });

  it('rings at more than 12 starts in an hour', () => {
    const drive = started();
    // The 13th start, 12 cycles of 270 s after the first.
    const verdicts = cycle(drive, { onS: 60, offS: 210, hours: (210 + 12 * 270 + 30) / 3600 });
    expect(verdicts.indexOf('breached')).toBe(verdicts.length - 1);
    expect(summaryOf(drive.verdict)).toBe('chiller: 13 starts in the last hour, more than 12');
  });

  it('rings at the third restart after less than 180 s off', () => {
    const drive = started();
    // Off for 120 s as sampled: four off-readings, between on-readings 150 s apart.
    const verdicts = cycle(drive, { onS: 480, offS: 120, hours: 1 });
    expect(verdicts.indexOf('breached') * 30).toBe(120 + 3 * 600);
    expect(summaryOf(drive.verdict)).toMatch(/^chiller: \d restarts after less than 3 min off \(the shortest at most 2 min 30 s\)$/);
    expect(evidenceOf(drive.verdict, 'Shortest off-time, at most')).toBe('2 min 30 s');
  });

  it('never claims an off-time shorter than the readings prove', () => {
    // Off for 150 s, but on-readings lie 180 s apart: not proven to be short. At a 10 s cadence it is.
    expect(cycle(started(), { onS: 600, offS: 150, hours: 3 })).not.toContain('breached');
    expect(cycle(started(), { onS: 600, offS: 150, hours: 3, everyS: 10 })).toContain('breached');
  });

  it('does not take a reading between off and on for a proof of running', () => {
    const drive = started();
    const verdicts: string[] = [];
    // On at 400 W, a feed pump's 30 W for a while, then off: that it ran until the off-reading is not known.
    const course = [400, 400, 30, 30, 30, 2, 2, 400, 400];
    for (let index = 0; index < 60; index += 1) verdicts.push(drive.reading(power.id, T0 + index * 30_000, course[index % course.length] ?? 0).state);
    expect(verdicts).not.toContain('breached');
  });

  it('is clear again when the last hour is fine', () => {
    const drive = started();
    cycle(drive, { onS: 60, offS: 60, hours: 1 });
    expect(drive.verdict.state).toBe('breached');
    const verdicts = cycle(drive, { onS: 1200, offS: 1200, hours: 2, fromMs: T0 + HOUR });
    expect(verdicts[0]).toBe('breached');
    expect(verdicts.at(-1)).toBe('clear');
    expect(verdicts.indexOf('clear') * 30).toBeLessThanOrEqual(3600);
  });

  it('does not count what happened in a silence', () => {
    const drive = started();
    for (let hour = 0; hour < 30; hour += 1) {
      drive.reading(power.id, T0 + hour * 11 * MINUTE, hour % 2 === 0 ? 395 : 2);
      expect(drive.verdict.state).toBe('clear');
    }
  });

  it('is unknown without readings, and when they stop', () => {
    const drive = started();
    expect(whyOf(drive.verdict)).toBe('chiller-power has not delivered yet');
    cycle(drive, { onS: 60, offS: 60, hours: 1 });
    expect(whyOf(drive.until(T0 + 2 * HOUR))).toBe('chiller-power has gone silent');
  });

  it('writes only when the compressor starts or stops, and stays small', () => {
    const drive = started();
    cycle(drive, { onS: 1200, offS: 1200, hours: 10 });
    expect(drive.writes).toBeLessThanOrEqual(1 + 2 * 15);
    cycle(drive, { onS: 30, offS: 30, hours: 10, fromMs: T0 + 10 * HOUR });
    expect(JSON.stringify(drive.state).length).toBeLessThan(2048);
  });
});
