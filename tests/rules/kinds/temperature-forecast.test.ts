import { describe, expect, it } from 'vitest';
import { HOUR, MINUTE } from '../../../src/domain/duration.ts';
import forecast from '../../../src/rules/kinds/temperature-forecast.ts';
import { anyHouse, type House, measure, type Mode, Random, Run } from '../../physics/thermal/house.ts';
import { equipment, point, reef, ruleOf, setting } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';

// 757 L of display hold about 800 Wh/K: what the houses are built around.
const tank = { ...reef, displayLitres: 757, sumpLitres: 0 };
const on = (name: string) => ({ equipmentId: `reef/${name}`, place: 'equipment' as const });
const water = point('temperature', 'display-temperature');
const room = point('temperature', 'room', { id: 'harbor-lobby/room', tankId: null, place: 'room' });
const heater = point('power', 'heater-power', on('heater'));
const pump = point('power', 'pump-power', on('pump'));

/** A tank that has been lived with, seen through its rule. */
class Lived {
  readonly house: House;
  readonly run: Run;
  readonly drive: Drive;
  readonly #instruments: Random;
  #minute = 0;

  constructor(seed: number, settings: object = {}, points = [water, room, heater, pump]) {
    this.house = anyHouse(new Random(seed), 800, false);
    this.run = new Run(this.house, new Random(seed + 50_000));
    this.#instruments = new Random(seed + 90_000);
    const installed = [equipment('heater', 'heater', { setpointC: this.house.setpointC, bandK: 0.25, nameplateWatts: 600 }), equipment('return-pump', 'pump')];
    this.drive = new Drive(ruleOf(forecast, 'display-temperature', { tanks: [tank], equipment: installed, points, ruleSettings: [setting('temperature-forecast', 'display-temperature', { ...settings })] }), T0);
  }

  get nowMs(): number {
    return T0 + Math.round(this.run.hour * HOUR);
  }

  /** A minute; readings come every other minute. */
  step(mode: Mode): void {
    const now = this.run.step(mode);
    this.#minute += 1;
    if (this.#minute % 2 === 1) return;
    const seen = measure(now, this.house, this.#instruments, { room: true, light: false });
    const atMs = T0 + Math.round(now.hour * HOUR);
    this.drive.reading(room.id, atMs, seen.roomC ?? Number.NaN);
    this.drive.reading(heater.id, atMs + 1, seen.heaterWatts ?? Number.NaN);
    this.drive.reading(pump.id, atMs + 2, mode === 'outage' ? 0 : this.house.pumpWatts);
    this.drive.reading(water.id, atMs + 3, seen.waterC ?? Number.NaN);
  }

  live(hours: number, mode: Mode): void {
    for (let minute = 0; minute < hours * 60; minute += 1) this.step(mode);
  }
}

/** Runs into trouble; at a third of the way the forecast is taken down. @returns what was said, and the truth. */
function troubled(seed: number, mode: Mode, limitC: number): { readonly hours: number; readonly low: number; readonly high: number; readonly truth: number } | null {
  const lived = new Lived(seed, { within: '72h', low: 22, high: 29 });
  lived.live(8 * 24, 'normal');
  const fromC = lived.run.waterC;
  const thirdC = fromC + (limitC - fromC) / 3;
  const passed = (celsius: number): boolean => (limitC > fromC ? lived.run.waterC >= celsius : lived.run.waterC <= celsius);
  for (let minute = 0; minute < 60 * 60 && !passed(thirdC); minute += 1) lived.step(mode);
  if (!passed(thirdC)) return null;
  // A look is taken every five minutes.
  lived.live(0.1, mode);
  const said = (lived.drive.state as { forecast: { atMs: number; hours: number; low: number; high: number | null } | null }).forecast;
  if (said === null) return null;
  for (let minute = 0; minute < 10 * 24 * 60 && !passed(limitC - lived.house.waterOffsetK); minute += 1) lived.step(mode);
  return { hours: said.hours, low: said.low, high: said.high ?? Number.POSITIVE_INFINITY, truth: (lived.nowMs - said.atMs) / HOUR };
}

const seeds = Array.from({ length: 12 }, (_, index) => 31_001 + index);
const median = (values: readonly number[]): number => [...values].sort((a, b) => a - b)[values.length >> 1] ?? Number.NaN;

describe('temperature-forecast', () => {
  it.each([['a heater that is stuck on', 'heater-stuck', 29], ['everything switched off', 'outage', 22]] as const)('forecasts %s at a third of the way', (_name, mode, limitC) => {
    const all = seeds.map((seed) => troubled(seed, mode, limitC)).filter((one) => one !== null);
    expect(all.length).toBeGreaterThanOrEqual(8);
    expect(median(all.map(({ hours, truth }) => Math.abs(hours - truth) / truth))).toBeLessThanOrEqual(0.2);
    expect(all.filter(({ low, high, truth }) => truth >= low && truth <= high).length / all.length).toBeGreaterThanOrEqual(0.65);
  }, 120_000);

  it('rings when the limit is near, says how long with its range, and is the same news when it has come true', () => {
    const lived = new Lived(7);
    lived.live(8 * 24, 'normal');
    expect(lived.drive.verdict.state).toBe('clear');
    lived.live(3.5, 'heater-stuck');
    expect(summaryOf(lived.drive.verdict)).toMatch(/^limit 29\.00 °C in about \d+\.\d h, 80 % range \d+\.\d (to \d+\.\d h|h or more, or never), if nothing changes; the water is at 2\d\.\d0 °C and warming$/);
    expect(evidenceOf(lived.drive.verdict, 'Heaters draw')).toBeGreaterThan(400);
    lived.drive.restart();
    expect(lived.drive.until(lived.nowMs).state).toBe('breached');
    for (let minute = 0; minute < 3000 && lived.run.waterC < 29.8; minute += 1) lived.step('heater-stuck');
    expect(summaryOf(lived.drive.verdict)).toMatch(/^limit 29\.00 °C is passed, as was forecast: the water is at 29\.\d0 °C$/);
    lived.drive.restart();
    for (let minute = 0; minute < 3000 && lived.run.waterC > 26; minute += 1) lived.step('outage');
    expect(lived.drive.verdict.state).toBe('clear');
  });

  it('is quiet for three weeks of a thermostat that works, with a visit that leaves everything off for an hour', () => {
    for (const seed of [11, 12]) {
      const lived = new Lived(seed);
      lived.live(9 * 24, 'normal');
      let rung = 0;
      for (let hour = 0; hour < 12 * 24; hour += 1) {
        for (let minute = 0; minute < 60; minute += 1) {
          lived.step(hour === 50 ? 'outage' : 'normal');
          if (lived.drive.verdict.state === 'breached') rung += 1;
        }
      }
      expect(rung).toBe(0);
      expect(lived.drive.verdict.state).toBe('clear');
      expect(JSON.stringify(lived.drive.state).length).toBeLessThan(4096);
    }
  });

  it('writes when something switches, and every quarter of an hour', () => {
    const lived = new Lived(5);
    lived.live(10 * 24, 'normal');
    const before = lived.drive.writes;
    lived.live(48, 'normal');
    // Four an hour, and what the heater and the ends of quarter days add.
    expect(lived.drive.writes - before).toBeLessThan(48 * 8);
  });

  it('says that it is learning, and what is missing', () => {
    const lived = new Lived(3);
    lived.live(24, 'normal');
    expect(whyOf(lived.drive.verdict)).toMatch(/^learning its heat balance: \d+ undisturbed quarter days/);
    expect(whyOf(lived.drive.until(lived.nowMs + 30 * MINUTE))).toBe('display-temperature has gone silent');
    expect(whyOf(new Lived(3, {}, [room, heater]).drive.verdict)).toBe('no temperature point in the display or the sump');
    expect(whyOf(new Lived(3, {}, [water, room]).drive.verdict)).toBe('no power, current, energy or switch point on heater: a hole in the heat balance');
  });
});
