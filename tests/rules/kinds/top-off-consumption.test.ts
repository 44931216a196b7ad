import { describe, expect, it } from 'vitest';
import { DAY, HOUR, MINUTE } from '../../../src/domain/duration.ts';
import topOffConsumption from '../../../src/rules/kinds/top-off-consumption.ts';
import { equipment, point, reef, ruleOf, setting } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';

const gauge = point('level', 'gauge', { place: 'reservoir', equipmentId: 'reef/reservoir', everyMs: MINUTE });
const installed = { equipment: [equipment('top-off-reservoir', 'reservoir', { capacityLitres: 60, fullMm: 400 })], points: [gauge] };
const started = (settings: Record<string, unknown> = {}) => new Drive(ruleOf(topOffConsumption, 'reservoir', { ...installed, ruleSettings: [setting('top-off-consumption', 'reservoir', settings)] }), T0);

/** A reservoir that is filled up when it is low, drawn from at so many percent a day. */
class Reservoir {
  percent = 95;
  refill = true;
  readonly drive: Drive;

  constructor(drive: Drive) {
    this.drive = drive;
  }

  /** A millimetre gauge read each five minutes. @returns ms to the first breach, or `null`. */
  run(forMs: number, percentPerDay: (sinceMs: number) => number): number | null {
    const fromMs = this.drive.nowMs + 5 * MINUTE;
    let first: number | null = null;
    for (let atMs = fromMs; atMs < fromMs + forMs; atMs += 5 * MINUTE) {
      this.percent = Math.max(0, this.percent - (percentPerDay(atMs - fromMs) * 5 * MINUTE) / DAY);
      if (this.refill && this.percent < 30) this.percent = 95;
      const mm = Math.round(this.percent * 4 + ((atMs / (5 * MINUTE)) % 3) - 1);
      if (this.drive.reading(gauge.id, atMs, mm).state === 'breached') first ??= atMs - fromMs;
    }
    return first;
  }
}

/** 8 % a day, a third more by day than by night, and a fifth more on some days. */
const healthy = (sinceMs: number): number => 8 * (1 + 0.3 * Math.sin((2 * Math.PI * sinceMs) / DAY)) * (1 + 0.2 * Math.sin((2 * Math.PI * sinceMs) / (3.7 * DAY)));

describe('top-off-consumption', () => {
  it('is quiet for weeks of refills and of days that differ', () => {
    const drive = started();
    expect(new Reservoir(drive).run(30 * DAY, healthy)).toBeNull();
    expect(drive.verdict.state).toBe('clear');
  });

  it('finds a leak of eight times the usual within eight hours', () => {
    const reservoir = new Reservoir(started());
    reservoir.run(8 * DAY, healthy);
    reservoir.percent = 95;
    reservoir.run(4 * HOUR, healthy);
    const foundMs = reservoir.run(DAY, () => 64) ?? Number.NaN;
    expect(foundMs).toBeGreaterThan(4 * HOUR);
    expect(foundMs).toBeLessThanOrEqual(8 * HOUR);
  });

  it('finds a lid left off within a day or two', () => {
    const reservoir = new Reservoir(started());
    reservoir.run(9 * DAY, healthy);
    const foundMs = reservoir.run(3 * DAY, (sinceMs) => 2.1 * healthy(sinceMs)) ?? Number.NaN;
    expect(foundMs).toBeGreaterThan(12 * HOUR);
    expect(foundMs).toBeLessThan(2 * DAY);
    reservoir.drive.restart();
    reservoir.run(2 * HOUR, (sinceMs) => 2.1 * healthy(sinceMs));
    expect(summaryOf(reservoir.drive.verdict)).toMatch(/^reservoir gives \d+\.\d L a day, [12]\.\d times the usual \d\.\d L a day: more evaporation/);
    expect(reservoir.drive.verdict).toMatchObject({ side: 'high' });
    expect(Number(evidenceOf(reservoir.drive.verdict, 'Times the usual'))).toBeGreaterThan(1.6);
    reservoir.run(6 * DAY, (sinceMs) => 2.1 * healthy(sinceMs));
    expect(reservoir.drive.verdict.state).toBe('breached');
    reservoir.run(3 * DAY, healthy);
    expect(reservoir.drive.verdict.state).toBe('clear');
  });

  it('finds that almost nothing is taken any more', () => {
    const reservoir = new Reservoir(started());
    reservoir.run(9 * DAY, healthy);
    reservoir.percent = 90;
    expect(reservoir.run(3 * DAY, () => 0.1)).not.toBeNull();
    expect(summaryOf(reservoir.drive.verdict)).toMatch(/evaporation is not made up/);
    expect(reservoir.drive.verdict).toMatchObject({ side: 'low' });
    expect(ruleOf(topOffConsumption, 'reservoir', {
      equipment: [...installed.equipment, equipment('top-off-pump', 'pump')],
      points: [gauge, point('power', 'pump-power', { equipmentId: 'reef/pump' }), point('level', 'sump-level', { place: 'sump' })],
    }).settings).toMatchObject({ lessThan: 0 });
    const never = new Reservoir(started({ lessThan: 0 }));
    never.run(9 * DAY, healthy);
    expect(never.run(3 * DAY, () => 0.1)).toBeNull();
    // A gauge that creeps upwards is less than nothing, and still never.
    const rising = new Reservoir(started({ lessThan: 0 }));
    rising.run(9 * DAY, healthy);
    rising.percent = 60;
    expect(rising.run(3 * DAY, () => -0.4)).toBeNull();
  });

  it('is quiet on a chilled tank that needs nothing in moist weeks and litres in dry ones, and finds its leak', () => {
    // 750 L at 13 °C in a room of 22 °C, whose dew point is 13 °C at 57 %: from nothing to 2.5 L a day, of 60 L.
    const cold = { ...reef, water: 'cold' as const, displayLitres: 600, sumpLitres: 150 };
    const water = point('temperature', 'water', { everyMs: 60 * MINUTE });
    const room = point('temperature', 'room', { place: 'room', everyMs: 60 * MINUTE });
    const drive = new Drive(ruleOf(topOffConsumption, 'reservoir', { ...installed, tanks: [cold], points: [gauge, water, room] }), T0);
    const reservoir = new Reservoir(drive);
    const weather = (litresPerDay: number): void => {
      for (let hour = 0; hour < 5 * 24; hour += 1) {
        drive.reading(water.id, drive.nowMs + MINUTE, 13);
        drive.reading(room.id, drive.nowMs + 1, 22);
        expect(reservoir.run(HOUR, () => (100 * litresPerDay) / 60)).toBeNull();
      }
    };
    for (const litresPerDay of [0.5, 0.5, 2.5, 0, 2.5, 0.4]) weather(litresPerDay);
    // A tenth of it in a day.
    expect(reservoir.run(DAY, () => (100 * 75) / 60)).not.toBeNull();
  });

  it('is quiet when somebody takes a bucket from it', () => {
    const reservoir = new Reservoir(started());
    reservoir.run(9 * DAY, healthy);
    reservoir.percent = 90;
    reservoir.run(DAY, healthy);
    reservoir.percent -= 20;
    expect(reservoir.run(DAY, healthy)).toBeNull();
  });

  it('leaves an empty reservoir to top-off-empty', () => {
    const reservoir = new Reservoir(started());
    reservoir.run(9 * DAY, healthy);
    reservoir.refill = false;
    reservoir.percent = 10;
    reservoir.run(12 * HOUR, healthy);
    expect(reservoir.run(4 * DAY, () => 40)).toBeNull();
  });

  it('is unknown for two days, and when it is silent', () => {
    const drive = started();
    new Reservoir(drive).run(DAY, healthy);
    expect(whyOf(drive.verdict)).toBe('its usual consumption is being learnt: it takes two days');
    expect(whyOf(drive.until(drive.nowMs + HOUR))).toBe('gauge has gone silent');
  });

  it('writes every ten minutes at most, and stays small', () => {
    const drive = started();
    new Reservoir(drive).run(15 * DAY, healthy);
    expect(drive.writes).toBeLessThanOrEqual((15 * DAY) / (10 * MINUTE) + 1);
    expect(JSON.stringify(drive.state).length).toBeLessThan(4096);
  });
});
