import { describe, expect, it } from 'vitest';
import { DAY, HOUR, MINUTE } from '../../../src/domain/duration.ts';
import leak from '../../../src/rules/kinds/leak.ts';
import { point, ruleOf, setting } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';

const level = point('level', 'display-level', { everyMs: MINUTE });
const started = (settings: Record<string, unknown> = {}) => new Drive(ruleOf(leak, 'display-level', { points: [level], ruleSettings: [setting('leak', 'display-level', settings)] }), T0);

/** @returns ms from the start to the first breach, or `null`. */
function feed(drive: Drive, forMs: number, mm: (sinceMs: number) => number): number | null {
  const fromMs = drive.nowMs + MINUTE;
  let first: number | null = null;
  for (let atMs = fromMs; atMs < fromMs + forMs; atMs += MINUTE) {
    if (drive.reading(level.id, atMs, Math.round(mm(atMs - fromMs) + ((atMs / MINUTE) % 3) - 1)).state === 'breached') first ??= atMs - fromMs;
  }
  return first;
}

/** Falls 5 mm a day, made up once a week by hand. */
const healthy = (sinceMs: number): number => 500 - 5 * ((sinceMs % (7 * DAY)) / DAY);

describe('leak', () => {
  it('finds a display that loses a tenth of its water in a day within five hours', () => {
    const drive = started();
    expect(feed(drive, 3 * DAY, healthy)).toBeNull();
    const foundMs = feed(drive, 12 * HOUR, (sinceMs) => 485 - (50 * sinceMs) / (12 * HOUR)) ?? Number.NaN;
    expect(foundMs).toBeGreaterThan(3 * HOUR);
    expect(foundMs).toBeLessThanOrEqual(5 * HOUR);
    expect(summaryOf(drive.verdict)).toMatch(/^the display has fallen by 4\d mm to 43\d mm, hour after hour by more than 2.0 mm: faster than water evaporates$/);
    expect(evidenceOf(drive.verdict, 'Leak from, per hour')).toBe('2.0 mm');
    drive.restart();
    expect(feed(drive, 30 * MINUTE, () => 435)).toBe(0);
    feed(drive, 3 * HOUR, () => 435);
    expect(drive.verdict.state).toBe('clear');
  });

  it('is quiet at evaporation, refills, and a water change that takes an hour', () => {
    const drive = started();
    expect(feed(drive, 15 * DAY, healthy)).toBeNull();
    expect(feed(drive, 25 * MINUTE, (sinceMs) => 490 - 2 * (sinceMs / MINUTE))).toBeNull();
    expect(feed(drive, 25 * MINUTE, (sinceMs) => 440 + 2 * (sinceMs / MINUTE))).toBeNull();
    expect(feed(drive, DAY, healthy)).toBeNull();
    // Left low for the night.
    expect(feed(drive, DAY, (sinceMs) => healthy(sinceMs) - 60)).toBeNull();
  });

  it('knows a sump that falls by 3 mm an hour between top-offs', () => {
    const drive = started();
    expect(feed(drive, 6 * DAY, (sinceMs) => 250 - 3 * ((sinceMs % (5 * HOUR)) / HOUR))).toBeNull();
    expect(feed(drive, 8 * HOUR, (sinceMs) => 250 - 12 * (sinceMs / HOUR))).toBeLessThan(5 * HOUR);
  });

  it('does not count a fall across a silence', () => {
    const drive = started();
    feed(drive, 2 * DAY, healthy);
    drive.until(drive.nowMs + 5 * HOUR);
    expect(feed(drive, 6 * HOUR, () => 460)).toBeNull();
  });

  it('takes a pace from the fleet file, and is unknown while it learns or is silent', () => {
    expect(feed(started({ fallPerHour: 5 }), 6 * HOUR, (sinceMs) => 500 - 6 * (sinceMs / HOUR))).toBeLessThanOrEqual(5 * HOUR);
    const drive = started();
    feed(drive, 5 * HOUR, healthy);
    expect(whyOf(drive.verdict)).toBe('its usual fall is being learnt: it takes 24 hours');
    expect(whyOf(drive.until(drive.nowMs + HOUR))).toBe('display-level has gone silent');
  });

  it('writes every ten minutes at most, and stays small', () => {
    const drive = started();
    feed(drive, 9 * DAY, healthy);
    expect(drive.writes).toBeLessThanOrEqual((9 * DAY) / (10 * MINUTE) + 1);
    expect(JSON.stringify(drive.state).length).toBeLessThan(4096);
  });
});
