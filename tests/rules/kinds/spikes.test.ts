import { describe, expect, it } from 'vitest';
import { DAY, HOUR, MINUTE } from '../../../src/domain/duration.ts';
import spikes from '../../../src/rules/kinds/spikes.ts';
import { point, ruleOf, setting } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';

const probe = point('temperature', 'display-temperature', { everyMs: MINUTE });
const started = (settings: Record<string, unknown> = {}) => new Drive(ruleOf(spikes, 'display-temperature', { points: [probe], ruleSettings: [setting('spikes', 'display-temperature', settings)] }), T0);

/** @returns ms from the start to the first breach, or `null`. */
function feed(drive: Drive, forMs: number, value: (minute: number) => number): number | null {
  const fromMs = drive.nowMs + MINUTE;
  let first: number | null = null;
  for (let atMs = fromMs; atMs < fromMs + forMs; atMs += MINUTE) {
    if (drive.reading(probe.id, atMs, value((atMs - fromMs) / MINUTE)).state === 'breached') first ??= atMs - fromMs;
  }
  return first;
}
const calm = (minute: number): number => Number((25 + 0.3 * Math.sin(minute / 230) + 0.02 * Math.sin(minute * 1.7)).toFixed(2));

describe('spikes', () => {
  it('finds a cable of which three readings in a hundred are wild', () => {
    const drive = started();
    expect(feed(drive, DAY, calm)).toBeNull();
    const foundMs = feed(drive, 6 * HOUR, (minute) => calm(minute) + (minute % 33 === 5 ? 4 : 0)) ?? Number.NaN;
    expect(foundMs).toBeLessThan(3 * HOUR);
    expect(summaryOf(drive.verdict)).toMatch(/^1\d single wild readings in 6 h, such as 29\.\d\d °C where (24|25)\.\d\d °C is its middle$/);
    expect(Number(evidenceOf(drive.verdict, 'The wildest'))).toBeGreaterThan(28);
    drive.restart();
    expect(feed(drive, HOUR, calm)).toBe(0);
    feed(drive, 6 * HOUR, calm);
    expect(drive.verdict.state).toBe('clear');
  });

  it('is quiet at one glitch in a thousand, steps, ramps, and a probe lifted out for a wipe', () => {
    const drive = started();
    expect(feed(drive, 5 * DAY, (minute) => calm(minute) + (minute % 1000 === 3 ? 3 : 0))).toBeNull();
    expect(feed(drive, DAY, (minute) => (minute % 240 < 4 ? 21 : calm(minute)))).toBeNull();
    expect(feed(drive, DAY, (minute) => calm(minute) + (minute > 300 ? 3 : 0))).toBeNull();
    expect(feed(drive, DAY, (minute) => 25 + 3 * Math.min(1, minute / 180))).toBeNull();
  });

  it('is not led astray by a flat sensor, whose scatter is nothing', () => {
    expect(feed(started(), DAY, (minute) => (minute % 40 === 0 ? 25.5 : 25))).toBeNull();
  });

  it('takes another size from the fleet file, and is unknown at first and in silence', () => {
    expect(feed(started({ size: 0.3 }), DAY, (minute) => (minute % 40 === 7 ? 25.5 : 25))).toBeLessThan(6 * HOUR);
    const drive = started();
    feed(drive, 10 * MINUTE, calm);
    expect(whyOf(drive.verdict)).toBe('learning how its values lie: it takes an hour');
    expect(whyOf(drive.until(drive.nowMs + HOUR))).toBe('display-temperature has gone silent');
  });

  it('writes every ten minutes at most while all is well', () => {
    const drive = started();
    feed(drive, 5 * DAY, calm);
    expect(drive.writes).toBeLessThanOrEqual((5 * DAY) / (10 * MINUTE) + 1);
  });
});
