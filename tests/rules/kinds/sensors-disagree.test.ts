import { describe, expect, it } from 'vitest';
import { DAY, HOUR, MINUTE } from '../../../src/domain/duration.ts';
import type { Point } from '../../../src/domain/fleet.ts';
import sensorsDisagree from '../../../src/rules/kinds/sensors-disagree.ts';
import { compileRules } from '../../../src/rules/compile.ts';
import { equipment, fleet, point, ruleOf, setting } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';

const display = point('temperature', 'display-temperature', { everyMs: MINUTE });
const sump = point('temperature', 'sump-temperature', { place: 'sump', everyMs: MINUTE });
const power = point('power', 'pump-power', { equipmentId: 'reef/return-pump', place: 'equipment', everyMs: MINUTE });
const pump = equipment('return-pump', 'return-pump');
const started = (settings: Record<string, unknown> = {}) =>
  new Drive(ruleOf(sensorsDisagree, 'sump-temperature', { equipment: [pump], points: [display, sump, power], ruleSettings: [setting('sensors-disagree', 'sump-temperature', settings)] }), T0);

const breachedSince = new WeakMap<Drive, number>();

/** @returns ms from the start to when it rings: breached for its on-delay on end; `null`: it does not. */
function feed(drive: Drive, forMs: number, difference: (sinceMs: number) => number, watts = 70): number | null {
  const fromMs = drive.nowMs + MINUTE;
  let first: number | null = null;
  for (let atMs = fromMs; atMs < fromMs + forMs; atMs += MINUTE) {
    const c = 25 + 0.4 * Math.sin((2 * Math.PI * atMs) / DAY) + 0.02 * Math.sin(atMs / 4111);
    drive.reading(power.id, atMs, watts);
    drive.reading(display.id, atMs, c);
    const { state } = drive.reading(sump.id, atMs, c + difference(atMs - fromMs));
    if (state !== 'breached') breachedSince.delete(drive);
    else if (!breachedSince.has(drive)) breachedSince.set(drive, atMs);
    const sinceMs = breachedSince.get(drive);
    if (sinceMs !== undefined && atMs - sinceMs >= sensorsDisagree.policy.onDelayMs) first ??= atMs - fromMs;
  }
  return first;
}
/** An offset of its own, and a heater in the sump that comes and goes. */
const healthy = (sinceMs: number): number => 0.3 + (sinceMs % HOUR < 20 * MINUTE ? 0.1 : 0);

describe('sensors-disagree', () => {
  it('learns the usual difference, and finds a sensor that jumps by a degree within the hour', () => {
    const drive = started();
    expect(feed(drive, 5 * DAY, healthy)).toBeNull();
    const foundMs = feed(drive, 2 * HOUR, (sinceMs) => healthy(sinceMs) + 1) ?? Number.NaN;
    // Six minutes until the middle of five is off, and the on-delay.
    expect(foundMs).toBeGreaterThan(15 * MINUTE);
    expect(foundMs).toBeLessThanOrEqual(22 * MINUTE);
    expect(summaryOf(drive.verdict)).toMatch(/^display-temperature says 2\d\.\d\d °C and sump-temperature 2\d\.\d\d °C; they usually differ by \+0\.3\d °C$/);
    expect(Math.abs(Number.parseFloat(String(evidenceOf(drive.verdict, 'sump-temperature has moved since they agreed by'))))).toBeGreaterThan(0.7);
    drive.restart();
    expect(feed(drive, MINUTE, (sinceMs) => healthy(sinceMs) + 1)).toBe(0);
    feed(drive, HOUR, healthy);
    expect(drive.verdict.state).toBe('clear');
  });

  it('knows which of the two is wrong when one jumps and the other stays, and tells other rules so; not when both move, when one creeps, or when nothing mixes', () => {
    const jumping = (more: (sinceMs: number) => number, watts = 70) => {
      const drive = started();
      feed(drive, 5 * DAY, healthy, watts);
      feed(drive, 30 * MINUTE, (sinceMs) => healthy(0) + more(sinceMs), watts);
      return sensorsDisagree.doubts?.(drive.state) ?? {};
    };
    expect(Object.keys(jumping(() => -1.5))).toEqual(['other']);
    expect(jumping((sinceMs) => (-2 * sinceMs) / (30 * MINUTE))).toEqual({});
    expect(jumping(() => 0)).toEqual({});
    const unmixed = new Drive(ruleOf(sensorsDisagree, 'sump-temperature', { points: [display, sump] }), T0);
    feed(unmixed, 5 * DAY, healthy);
    expect(feed(unmixed, HOUR, () => 1.5)).not.toBeNull();
    expect(sensorsDisagree.doubts?.(unmixed.state)).toEqual({});
    // Cold water poured into the display: the sump follows.
    const poured = started();
    feed(poured, 5 * DAY, healthy);
    const fromMs = poured.nowMs;
    for (let minute = 1; minute <= 30; minute += 1) {
      poured.reading(power.id, fromMs + minute * MINUTE, 70);
      poured.reading(display.id, fromMs + minute * MINUTE, 23.6);
      poured.reading(sump.id, fromMs + minute * MINUTE, 25.3 - 1.1 * Math.min(1, minute / 15));
    }
    expect(sensorsDisagree.doubts?.(poured.state)).toEqual({});
  });

  it('finds a thermometer that drifts by a tenth of a degree a day; a drift does not become usual', () => {
    const drive = started();
    feed(drive, 5 * DAY, healthy);
    const foundMs = feed(drive, 12 * DAY, (sinceMs) => healthy(sinceMs) - (0.1 * sinceMs) / DAY) ?? Number.NaN;
    expect(foundMs / DAY).toBeGreaterThan(5);
    expect(foundMs / DAY).toBeLessThan(8);
  });

  it('finds two that were never alike, before it has learnt anything', () => {
    expect(feed(started(), 3 * HOUR, () => 2.5)).toBeLessThan(HOUR);
  });

  it('does not judge while the return pump stands, nor for half an hour after', () => {
    const drive = started();
    feed(drive, 5 * DAY, healthy);
    expect(feed(drive, 3 * HOUR, (sinceMs) => healthy(sinceMs) + (2 * sinceMs) / (3 * HOUR), 0)).toBeNull();
    expect(whyOf(drive.verdict)).toBe('the return pump stands, so that display and sump are not mixed');
    expect(feed(drive, 25 * MINUTE, () => 1.5)).toBeNull();
    expect(feed(drive, 3 * HOUR, healthy)).toBeNull();
    expect(drive.verdict.state).toBe('clear');
  });

  it('is quiet when a probe is lifted out for a wipe', () => {
    const drive = started();
    feed(drive, 5 * DAY, healthy);
    expect(feed(drive, 6 * MINUTE, () => -4)).toBeNull();
    expect(feed(drive, DAY, healthy)).toBeNull();
  });

  it('pairs what is in the same water, and nothing else', () => {
    const pairs = (...points: Point[]) => compileRules(fleet({ equipment: [pump], points }), new Map([['sensors-disagree', sensorsDisagree]])).map(({ title }) => title);
    expect(pairs(sump, display, point('temperature', 'room', { place: 'room' }), point('conductivity', 'salt'))).toEqual(['display-temperature and sump-temperature disagree']);
    expect(pairs(display)).toEqual([]);
  });

  it('writes every ten minutes at most, and takes another tolerance from the fleet file', () => {
    const drive = started({ tolerance: 2 });
    feed(drive, 5 * DAY, healthy);
    expect(drive.writes).toBeLessThanOrEqual((5 * DAY) / (10 * MINUTE) + 1);
    expect(feed(drive, 3 * HOUR, (sinceMs) => healthy(sinceMs) + 1.5)).toBeNull();
    expect(JSON.stringify(drive.state).length).toBeLessThan(2048);
  });

  it('is unknown when one of the two is silent', () => {
    expect(whyOf(started().verdict)).toBe('display-temperature has not delivered yet');
  });
});
