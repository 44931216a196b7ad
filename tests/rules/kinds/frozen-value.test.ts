import { describe, expect, it } from 'vitest';
import { DAY, HOUR, MINUTE } from '../../../src/domain/duration.ts';
import frozenValue from '../../../src/rules/kinds/frozen-value.ts';
import { compileRules } from '../../../src/rules/compile.ts';
import { fleet, point, ruleOf, setting } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';

const probe = point('temperature', 'display-temperature', { everyMs: MINUTE });
const started = (settings: Record<string, unknown> = {}) => new Drive(ruleOf(frozenValue, 'display-temperature', { points: [probe], ruleSettings: [setting('frozen-value', 'display-temperature', settings)] }), T0);

/** @returns ms from the start to the first breach, or `null`. */
function feed(drive: Drive, forMs: number, value: (sinceMs: number) => number): number | null {
  const fromMs = drive.nowMs + MINUTE;
  let first: number | null = null;
  for (let atMs = fromMs; atMs < fromMs + forMs; atMs += MINUTE) {
    if (drive.reading(probe.id, atMs, value(atMs - fromMs)).state === 'breached') first ??= atMs - fromMs;
  }
  return first;
}
const noisy = (sinceMs: number): number => Number((25 + 0.2 * Math.sin(sinceMs / DAY) + 0.02 * Math.sin(sinceMs / 7001)).toFixed(2));
/** A sensor of half a degree in calm water: still for the better part of a day. */
const coarse = (sinceMs: number): number => Math.round((25.2 + 0.2 * Math.sin((2 * Math.PI * sinceMs) / DAY)) * 2) / 2;

describe('frozen-value', () => {
  it('finds a value that has stood still for half an hour where it always moved', () => {
    const drive = started();
    expect(feed(drive, 4 * DAY, noisy)).toBeNull();
    const foundMs = feed(drive, DAY, () => 25.13) ?? Number.NaN;
    expect(foundMs).toBeGreaterThanOrEqual(30 * MINUTE);
    expect(foundMs).toBeLessThan(HOUR);
    expect(summaryOf(drive.verdict)).toMatch(/^has said 25\.13 °C without any change for 2[34] h/);
    expect(evidenceOf(drive.verdict, 'Longest stillness before')).toBe('a few minutes at most');
    // Never later than it says of itself.
    const { kind, settings, roles } = ruleOf(frozenValue, 'display-temperature', { points: [probe] });
    expect(foundMs).toBeLessThanOrEqual(kind.surelyAfterMs?.(settings, { points: roles, state: drive.state }) ?? Number.NaN);
    drive.restart();
    expect(feed(drive, MINUTE, () => 25.13)).toBe(0);
    expect(feed(drive, MINUTE, () => 25.14)).toBeNull();
  });

  it('does not get used to a fault that was repaired after a day', () => {
    const drive = started();
    feed(drive, 4 * DAY, noisy);
    feed(drive, DAY, () => 25.13);
    feed(drive, HOUR, noisy);
    expect(feed(drive, DAY, () => 25.13)).toBeLessThan(HOUR);
  });

  it('tells other rules not to believe it while it is frozen, and no longer', () => {
    const drive = started();
    feed(drive, 4 * DAY, noisy);
    expect(frozenValue.doubts?.(drive.state)).toEqual({});
    feed(drive, HOUR, () => 25.13);
    expect(frozenValue.doubts?.(drive.state)).toEqual({ value: expect.stringContaining('same value') });
    feed(drive, MINUTE, () => 25.14);
    expect(frozenValue.doubts?.(drive.state)).toEqual({});
  });

  it('learns how still a coarse sensor can be', () => {
    const drive = started();
    expect(feed(drive, 20 * DAY, coarse)).toBeNull();
    expect(feed(drive, 4 * DAY, () => 25.5)).toBeGreaterThan(DAY);
  });

  it('is patient during the first days, and takes another patience from the fleet file', () => {
    expect(feed(started(), 30 * HOUR, () => 25)).toBeGreaterThan(23 * HOUR);
    expect(feed(started({ frozenAfter: '2h' }), 3 * HOUR, () => 25)).toBeLessThan(2.1 * HOUR);
  });

  it('does not count a silence as stillness', () => {
    const drive = started();
    feed(drive, 4 * DAY, noisy);
    for (let round = 0; round < 12; round += 1) {
      drive.until(drive.nowMs + 2 * HOUR);
      expect(whyOf(drive.verdict)).toBe('display-temperature has gone silent');
      expect(feed(drive, 10 * MINUTE, () => 25.13)).toBeNull();
    }
  });

  it('watches water and air, no levels, no meters, no reservoir', () => {
    const points = [probe, point('conductivity', 'salt', { place: 'sump' }), point('temperature', 'room', { place: 'room' }), point('level', 'sump'), point('power', 'watts'), point('temperature', 'reservoir', { place: 'reservoir' })];
    expect(compileRules(fleet({ points }), new Map([['frozen-value', frozenValue]])).map(({ subject, policy }) => [subject, policy.priority])).toEqual([
      ['reef/display-temperature', 'high'], ['reef/salt', 'high'], ['reef/room', 'low'],
    ]);
  });

  it('writes twice in five minutes at most', () => {
    const drive = started();
    feed(drive, 2 * DAY, noisy);
    expect(drive.writes).toBeLessThanOrEqual(2 * 2 * 24 * 12 + 1);
    const before = drive.writes;
    feed(drive, DAY, () => 25.13);
    expect(drive.writes - before).toBeLessThanOrEqual(2);
  });
});
