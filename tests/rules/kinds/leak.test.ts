import { describe, expect, it } from 'vitest';
import { DAY, HOUR, MINUTE } from '../../../src/domain/duration.ts';
import leak from '../../../src/rules/kinds/leak.ts';
import { equipment, point, reef, ruleOf, setting } from '../fleet.ts';
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

  it('finds in a display of 0.8 m² what a gauge of whole millimetres hardly shows from hour to hour', () => {
    const drive = started();
    expect(feed(drive, 6 * DAY, healthy)).toBeNull();
    // 1.5 L an hour, a tenth of 400 L in a day.
    const foundMs = feed(drive, DAY, (sinceMs) => 470 - 1.9 * (sinceMs / HOUR)) ?? Number.NaN;
    expect(foundMs).toBeGreaterThan(5 * HOUR);
    expect(foundMs).toBeLessThanOrEqual(9 * HOUR);
  });

  describe('where a top-off makes good what is lost', () => {
    const gauge = point('fill', 'gauge', { place: 'reservoir', equipmentId: 'reef/reservoir', everyMs: MINUTE });
    const sump = point('level', 'sump-level', { place: 'sump', everyMs: MINUTE });
    const installed = { equipment: [equipment('top-off-reservoir', 'reservoir', { capacityLitres: 60 })], points: [gauge, sump] };

    /** @param litres given up to then; filled up each 40 L. @returns ms to the first breach. */
    function give(drive: Drive, forMs: number, litresPerDay: number, mm: (sinceMs: number) => number = () => 250): number | null {
      const fromMs = drive.nowMs + MINUTE;
      let first: number | null = null;
      for (let atMs = fromMs; atMs < fromMs + forMs; atMs += 5 * MINUTE) {
        const litres = (litresPerDay * (atMs - fromMs)) / DAY;
        drive.reading(gauge.id, atMs, 95 - (100 * (litres % 40)) / 60);
        if (drive.reading(sump.id, atMs + 1, mm(atMs - fromMs)).state === 'breached') first ??= atMs - fromMs;
      }
      return first;
    }

    it('sees it in the reservoir, and is not over when that is empty', () => {
      const drive = new Drive(ruleOf(leak, 'sump-level', installed), T0);
      expect(give(drive, 4 * DAY, 6)).toBeNull();
      // A lid left off in a draught: three times as much.
      expect(give(drive, DAY, 18)).toBeNull();
      expect(give(drive, 2 * DAY, 6)).toBeNull();
      const foundMs = give(drive, 9 * HOUR, 100) ?? Number.NaN;
      // So much more than can evaporate that three hours are enough.
      expect(foundMs).toBeGreaterThanOrEqual(3 * HOUR);
      expect(foundMs).toBeLessThanOrEqual(5 * HOUR);
      expect(summaryOf(drive.verdict)).toMatch(/^reservoir gives (9\d|10\d)\.\d L a day where \d+\.\d L a day are usual, and the sump does not rise: water goes somewhere/);
      drive.restart();
      for (let hour = 0; hour < 8; hour += 1) {
        drive.reading(gauge.id, drive.nowMs + 30 * MINUTE, 2);
        drive.reading(sump.id, drive.nowMs + 30 * MINUTE, 250);
      }
      expect(drive.verdict.state).toBe('breached');
      give(drive, 8 * HOUR, 6);
      expect(drive.verdict.state).toBe('clear');
    });

    it('does not take water that is made up at once after a visit for a leak, where next to nothing evaporates', () => {
      const cold = { ...reef, water: 'cold' as const, displayLitres: 300, sumpLitres: 50 };
      const drive = new Drive(ruleOf(leak, 'sump-level', { ...installed, tanks: [cold] }), T0);
      give(drive, 4 * DAY, 0.2);
      for (let minute = 0; minute < 12 * 60; minute += 5) {
        // 3 L within the fourth hour, and a trickle about it.
        drive.reading(gauge.id, drive.nowMs + 5 * MINUTE, 95 - 0.1 * (minute / 60) - 5 * Math.max(0, Math.min(1, minute / 60 - 4)));
        expect(drive.reading(sump.id, drive.nowMs, 250).state).toBe('clear');
      }
    });

    it('does not take a top-off that runs on for a leak', () => {
      const drive = new Drive(ruleOf(leak, 'sump-level', installed), T0);
      give(drive, 4 * DAY, 6);
      expect(give(drive, 9 * HOUR, 100, (sinceMs) => 250 + 10 * (sinceMs / HOUR))).toBeNull();
    });
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
