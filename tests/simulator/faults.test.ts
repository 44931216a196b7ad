/** Every fault shows in its readings, against a healthy twin of the same seed, and nowhere before it begins. */
import { describe, expect, it } from 'vitest';
import { DAY, HOUR, MINUTE } from '../../src/domain/duration.ts';
import { chillerShortCycling } from '../../simulator/faults/chiller-short-cycling.ts';
import type { Fault } from '../../simulator/faults/fault.ts';
import { gatewaySilent } from '../../simulator/faults/gateway-silent.ts';
import { heaterFailed } from '../../simulator/faults/heater-failed.ts';
import { heaterStuckOn } from '../../simulator/faults/heater-stuck-on.ts';
import { mainsLost } from '../../simulator/faults/mains-lost.ts';
import { pumpStopped } from '../../simulator/faults/pump-stopped.ts';
import { reservoirRunsEmpty } from '../../simulator/faults/reservoir-runs-empty.ts';
import { roomHot } from '../../simulator/faults/room-hot.ts';
import { thermometerDrifting } from '../../simulator/faults/thermometer-drifting.ts';
import { makeScenario } from '../../simulator/scenario.ts';
import { listed } from '../../simulator/timetable.ts';
import { demoFleet } from './demo-fleet.ts';

const fleet = await demoFleet();
const startMs = Date.UTC(2026, 0, 14, 6);
const beginMs = startMs + 6 * HOUR;

interface Series {
  readonly atMs: number;
  readonly value: number;
}

function readings(lastsMs: number, fault: Fault | null, endMs: number | null = null) {
  const timetable = fault === null ? undefined : listed([{ fault, beginMs, endMs }]);
  // Days of it are thinned as a demo's past is; hours are whole.
  const history = { untilMs: lastsMs > DAY / 2 ? Number.POSITIVE_INFINITY : startMs, everyMs: 5 * MINUTE };
  const scenario = makeScenario({ fleet, seed: 11, startMs, history, ...(timetable === undefined ? {} : { timetable }) });
  const series = new Map<string, Series[]>();
  for (const { samples } of scenario.advance(beginMs + lastsMs)) {
    for (const { pointId, atMs, value } of samples) {
      const kept = series.get(pointId) ?? [];
      kept.push({ atMs, value });
      series.set(pointId, kept);
    }
  }
  const of = (pointId: string): readonly Series[] => series.get(pointId) ?? [];
  return { scenario, of, after: (pointId: string) => of(pointId).filter(({ atMs }) => atMs > beginMs).map(({ value }) => value), last: (pointId: string) => of(pointId).at(-1)?.value ?? Number.NaN };
}

function twins(lastsMs: number, fault: Fault, endMs: number | null = null) {
  const ill = readings(lastsMs, fault, endMs);
  const well = readings(lastsMs, null);
  for (const { id } of fleet.points) {
    const before = (series: readonly Series[]) => series.filter(({ atMs }) => atMs <= beginMs);
    expect(before(ill.of(id)), id).toEqual(before(well.of(id)));
  }
  return { ill, well };
}

describe('a fault shows in its readings', () => {
  it('heater stuck on: draws without a stop, and the water leaves its band upwards', () => {
    const { ill, well } = twins(5 * HOUR, heaterStuckOn({ heaterId: 'bar-fresh/heater' }));
    expect(Math.min(...ill.after('bar-fresh/heater-power'))).toBeGreaterThan(150);
    expect(Math.min(...well.after('bar-fresh/heater-power'))).toBe(0);
    expect(ill.last('bar-fresh/display-temperature')).toBeGreaterThan(27);
    expect(Math.max(...well.after('bar-fresh/display-temperature'))).toBeLessThan(25.7);
    expect(ill.last('pinwheel-reef/display-temperature')).toBe(well.last('pinwheel-reef/display-temperature'));
  });

  it('heater failed: draws nothing, and the water cools', () => {
    const { ill, well } = twins(8 * HOUR, heaterFailed({ heaterId: 'marigold-marine/heater' }));
    expect(Math.max(...ill.after('marigold-marine/heater-current'))).toBe(0);
    expect(Math.max(...well.after('marigold-marine/heater-current'))).toBeGreaterThan(3);
    // °F
    expect(well.last('marigold-marine/display-temperature') - ill.last('marigold-marine/display-temperature')).toBeGreaterThan(0.8);
  });

  it('reservoir runs empty: level at nothing, then sump down and conductivity up; a visit refills it', () => {
    const { ill, well } = twins(3 * DAY, reservoirRunsEmpty({ reservoirId: 'pinwheel-reef/reservoir', leftLitres: 0.5 }));
    expect(ill.last('pinwheel-reef/reservoir-fill')).toBeLessThan(1);
    expect(well.last('pinwheel-reef/sump-level') - ill.last('pinwheel-reef/sump-level')).toBeGreaterThan(20);
    expect(ill.last('pinwheel-reef/conductivity')).toBeGreaterThan(well.last('pinwheel-reef/conductivity') + 0.5);
    const refilled = readings(2 * HOUR, reservoirRunsEmpty({ reservoirId: 'pinwheel-reef/reservoir', leftLitres: 0.5 }), beginMs + HOUR);
    expect(refilled.last('pinwheel-reef/reservoir-fill')).toBeGreaterThan(95);
  });

  it('reservoir forgotten: nobody fills it at the weekly visit', () => {
    const forgotten = readings(9 * DAY, reservoirRunsEmpty({ reservoirId: 'quill-reef/reservoir', leftLitres: null }));
    const levels = forgotten.after('quill-reef/reservoir-level');
    expect(Math.max(...levels)).toBeLessThan((levels[0] ?? 0) + 1);
    const healthy = readings(9 * DAY, null).after('quill-reef/reservoir-level');
    expect(Math.max(...healthy)).toBeGreaterThan((healthy[0] ?? 0) + 5);
  });

  it('chiller short-cycling: more than 12 starts an hour with short rests, where a healthy one starts a few times', () => {
    const { ill, well } = twins(2 * HOUR, chillerShortCycling({ chillerId: 'marigold-cold/chiller', shortestS: 20, longestS: 60 }));
    const starts = (values: readonly number[]): number => values.filter((value, index) => value > 100 && (values[index - 1] ?? 0) <= 100).length;
    expect(starts(ill.after('marigold-cold/chiller-power'))).toBeGreaterThan(30);
    expect(starts(well.after('marigold-cold/chiller-power'))).toBeLessThan(6);
  });

  it('return pump stopped: no draw, no flow, sump up by what drains down', () => {
    const { ill, well } = twins(40 * MINUTE, pumpStopped({ pumpId: 'atrium-marine/return-pump' }));
    expect(ill.last('atrium-marine/return-pump-power')).toBe(0);
    expect(ill.last('atrium-marine/return-flow')).toBeLessThan(0.1);
    expect(well.last('atrium-marine/return-flow')).toBeGreaterThan(40);
    expect(ill.last('atrium-marine/sump-level') - well.last('atrium-marine/sump-level')).toBeGreaterThan(10);
  });

  it('gateway silent: not one message from the site, all from the others, and the tanks go on', () => {
    const { ill, well } = twins(HOUR, gatewaySilent({ siteId: 'pinwheel-office' }));
    for (const { id, siteId } of fleet.points) {
      expect(ill.after(id).length, id).toBe(siteId === 'pinwheel-office' ? 0 : well.after(id).length);
    }
    expect(ill.scenario.world.tank('pinwheel-reef').display.waterC).toBe(well.scenario.world.tank('pinwheel-reef').display.waterC);
  });

  it('mains lost: no volts and no watts at that site, water cooling, everything back afterwards', () => {
    const { ill, well } = twins(4 * HOUR, mainsLost({ siteId: 'northstep-atrium' }));
    expect(Math.max(...ill.after('northstep-atrium/mains-voltage'))).toBe(0);
    expect(Math.max(...ill.after('atrium-marine/heater-1-power'), ...ill.after('atrium-marine/return-pump-power'))).toBe(0);
    expect(ill.last('atrium-marine/display-temperature')).toBeLessThan(well.last('atrium-marine/display-temperature') - 0.3);
    expect(ill.last('bar-fresh/heater-power')).toBe(well.last('bar-fresh/heater-power'));
    const back = readings(2 * HOUR, mainsLost({ siteId: 'northstep-atrium' }), beginMs + HOUR);
    expect(back.last('northstep-atrium/mains-voltage')).toBeGreaterThan(110);
    expect(back.last('atrium-marine/return-pump-power')).toBeGreaterThan(150);
  });

  it('thermometer drifting: its readings leave the truth, the water does not', () => {
    const { ill, well } = twins(2 * DAY, thermometerDrifting({ pointId: 'quill-reef/display-temperature', perDay: 0.4 }));
    expect(ill.last('quill-reef/display-temperature') - well.last('quill-reef/display-temperature')).toBeCloseTo(0.8, 1);
    expect(ill.last('quill-reef/sump-temperature')).toBe(well.last('quill-reef/sump-temperature'));
    expect(ill.scenario.world.tank('quill-reef').display.waterC).toBe(well.scenario.world.tank('quill-reef').display.waterC);
  });

  it('room hot: the room, and with it a tank without chiller, get warmer', () => {
    const { ill, well } = twins(DAY, roomHot({ siteId: 'marigold-dining', byK: 7 }));
    // °F
    expect(ill.last('marigold-dining/room-temperature') - well.last('marigold-dining/room-temperature')).toBeGreaterThan(10);
    expect(ill.last('marigold-marine/display-temperature')).toBeGreaterThan(well.last('marigold-marine/display-temperature') + 0.5);
  });
});
