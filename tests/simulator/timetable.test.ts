import { describe, expect, it } from 'vitest';
import { DAY, HOUR, MINUTE, SECOND } from '../../src/domain/duration.ts';
import { demoTimetable, ROUND_MS } from '../../simulator/demo-timetable.ts';
import { makeScenario } from '../../simulator/scenario.ts';
import { listed, looped, together } from '../../simulator/timetable.ts';
import { gatewaySilent } from '../../simulator/faults/gateway-silent.ts';
import { demoFleet } from './demo-fleet.ts';

const fleet = await demoFleet();
const liveMs = Date.UTC(2026, 9, 22, 14, 3);
const fault = gatewaySilent({ siteId: 'pinwheel-office' });

describe('timetables', () => {
  it('name each occurrence once, however the time is cut', () => {
    const timetable = together(
      listed([{ fault, beginMs: 5, endMs: 6 }]),
      looped(100, 50, (startMs) => [{ fault, beginMs: startMs + 10, endMs: null }, { fault, beginMs: startMs + 40, endMs: null }]),
    );
    const whole = timetable(0, 300).map(({ beginMs }) => beginMs).sort((a, b) => a - b);
    expect(whole).toEqual([5, 110, 140, 160, 190, 210, 240, 260, 290]);
    const cut: number[] = [];
    for (let atMs = 0; atMs < 300; atMs += 7) cut.push(...timetable(atMs, Math.min(300, atMs + 7)).map(({ beginMs }) => beginMs));
    expect(cut).toEqual(whole);
  });
});

describe('the demo timetable', () => {
  const month = demoTimetable(liveMs)(liveMs - 30 * DAY, liveMs);

  it('has a handful of incidents in the past month, all over before going live but the one under way', () => {
    const over = month.filter(({ endMs }) => endMs !== null && endMs < liveMs);
    expect(over.map(({ fault: { name } }) => name).sort()).toEqual(['chiller-short-cycling', 'gateway-silent', 'heater-failed', 'heater-stuck-on', 'pump-stopped', 'reservoir-runs-empty', 'room-hot', 'thermometer-drifting']);
    expect(month.length - over.length).toBe(1);
    const weekend = over.find(({ fault: { name } }) => name === 'reservoir-runs-empty');
    const days = new Intl.DateTimeFormat('en-US', { timeZone: 'America/Chicago', weekday: 'long', hour: 'numeric' });
    expect(days.format(weekend?.beginMs)).toContain('Friday');
    expect(days.format(weekend?.endMs ?? 0)).toContain('Monday');
  });

  it('a heater that failed and a probe that creeps both cross a limit, and only the one in the water itself', () => {
    const of = (name: string) => month.find((one) => one.fault.name === name) ?? { beginMs: Number.NaN, endMs: Number.NaN };
    const [failed, creeping] = [of('heater-failed'), of('thermometer-drifting')];
    const scenario = makeScenario({ fleet, seed: 1, startMs: creeping.beginMs - 2 * HOUR, timetable: demoTimetable(liveMs), history: { untilMs: liveMs, everyMs: 10 * MINUTE } });
    const read = (toMs: number, pointId: string) => scenario.advance(toMs).flatMap(({ samples }) => samples.filter((sample) => sample.pointId === pointId).map(({ value }) => value));
    // °F: 15 °C is 59 °F.
    expect(Math.max(...read((creeping.endMs ?? 0) - MINUTE, 'marigold-cold/display-temperature'))).toBeGreaterThan(59.5);
    expect(scenario.world.tank('marigold-cold').display.waterC).toBeLessThan(14);
    expect(Math.max(...read((creeping.endMs ?? 0) + 6 * HOUR, 'marigold-cold/display-temperature').slice(-20))).toBeLessThan(58);
    expect(Math.min(...read((failed.endMs ?? 0) - MINUTE, 'bar-fresh/display-temperature'))).toBeLessThan(23);
    expect(scenario.world.tank('bar-fresh').display.waterC).toBeLessThan(23);
    expect(read((failed.endMs ?? 0) + 12 * HOUR, 'bar-fresh/display-temperature').at(-1)).toBeGreaterThan(24);
  });

  it.each([1, 2, 3, 4, 5])('has something to ring about within two minutes of going live, seed %d', (seed) => {
    const scenario = makeScenario({ fleet, seed, startMs: liveMs - DAY / 2, timetable: demoTimetable(liveMs) });
    scenario.skip(liveMs);
    scenario.advance(liveMs + 2 * MINUTE);
    const bar = scenario.world.tank('bar-fresh');
    expect(scenario.world.heater('bar-fresh/heater').drawWatts).toBeGreaterThan(150);
    // Above setpoint and band (25.3 °C) by more than a probe's error, and about at the limit of 26.2 °C.
    expect(bar.display.waterC).toBeGreaterThan(26);
    expect(scenario.world.motor('quill-reef/return-pump').drawWatts).toBe(0);
    expect(scenario.world.reservoir('marigold-marine/reservoir').shareFull).toBeLessThan(0.01);
    expect(scenario.world.chiller('marigold-cold/chiller').chatter).not.toBeNull();
  });

  it('runs for a day of rounds on the real fleet: everything that begins ends, and no tank is cooked', () => {
    const scenario = makeScenario({ fleet, seed: 1, startMs: liveMs - 6 * HOUR, timetable: demoTimetable(liveMs) });
    const names = new Set<string>();
    for (let atMs = liveMs - 6 * HOUR; atMs < liveMs + DAY; atMs += MINUTE) {
      scenario.skip(atMs);
      for (const { fault: { name }, endMs } of scenario.active()) {
        names.add(name);
        expect(endMs).not.toBeNull();
      }
      for (const tank of scenario.world.tanks.values()) if (tank.design.water !== 'cold') expect(tank.display.waterC, tank.id).toBeLessThan(28.5);
    }
    expect([...names].sort()).toEqual(['chiller-short-cycling', 'gateway-silent', 'heater-stuck-on', 'mains-lost', 'pump-stopped', 'reservoir-runs-empty']);
    const quiet = [...demoTimetable(liveMs)(liveMs + DAY, liveMs + DAY + ROUND_MS)];
    expect(quiet.every(({ endMs, beginMs }) => (endMs ?? 0) - beginMs >= 3 * MINUTE - SECOND)).toBe(true);
  });
});
