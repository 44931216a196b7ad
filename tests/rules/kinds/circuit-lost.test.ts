import { describe, expect, it } from 'vitest';
import { HOUR, MINUTE } from '../../../src/domain/duration.ts';
import type { Point } from '../../../src/domain/fleet.ts';
import circuitLost from '../../../src/rules/kinds/circuit-lost.ts';
import { compileRules } from '../../../src/rules/compile.ts';
import { equipment, fleet, point, ruleOf } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';

const stripA = [
  equipment('return-pump', 'return-pump', { circuit: 'Strip A, outlet 1' }),
  equipment('skimmer', 'skimmer', { circuit: 'Strip A, outlet 2' }),
  equipment('heater', 'heater', { circuit: 'Strip A, outlet 3' }),
];
const stripB = [equipment('uv', 'uv', { circuit: 'Strip B, outlet 1' }), equipment('light', 'light', { circuit: 'Strip B, outlet 2' })];
const meter = (name: string): Point => point('power', `${name}-power`, { equipmentId: `reef/${name}`, place: 'equipment', everyMs: MINUTE });
const volts = point('voltage', 'supply', { id: 'harbor-lobby/supply', tankId: null, place: 'room', everyMs: MINUTE });
const all = ['return-pump', 'skimmer', 'heater', 'uv', 'light'].map(meter);
const started = (points: readonly Point[] = [...all, volts], subject = 'return-pump') => new Drive(ruleOf(circuitLost, subject, { equipment: [...stripA, ...stripB], points }), T0);

function feed(drive: Drive, minutes: number, watts: Readonly<Record<string, number>>): string {
  const fromMs = drive.nowMs - (drive.nowMs % MINUTE) + MINUTE;
  for (let minute = 0; minute < minutes; minute += 1) {
    Object.entries(watts).forEach(([name, value], index) => drive.reading(name === 'volts' ? volts.id : `reef/${name}-power`, fromMs + minute * MINUTE + index * 500, value));
  }
  return drive.verdict.state;
}
const running = { 'return-pump': 70, skimmer: 30, heater: 0, uv: 40, light: 0, volts: 120 };

describe('circuit-lost', () => {
  it('finds a strip whose pieces fell at once, while the other goes on', () => {
    const drive = started();
    feed(drive, 60, running);
    expect(feed(drive, 1, { ...running, 'return-pump': 0, skimmer: 0 })).toBe('breached');
    expect(summaryOf(drive.verdict)).toBe('all 3 metered pieces of equipment on Strip A are at zero, while the supply is at 120 V');
    expect(evidenceOf(drive.verdict, 'skimmer-power')).toBe('at zero');
    drive.restart();
    expect(feed(drive, 30, { ...running, 'return-pump': 0, skimmer: 0 })).toBe('breached');
    // A visit with everything unplugged does not bring it back to life.
    expect(feed(drive, 30, { ...running, 'return-pump': 0, skimmer: 0, uv: 0 })).toBe('breached');
    expect(feed(drive, 1, running)).toBe('clear');
  });

  it('does not take pieces switched off one by one, a feeding pause, or a heater that idles for a dead strip', () => {
    const drive = started();
    feed(drive, 60, { ...running, heater: 200 });
    expect(feed(drive, 10, { ...running, 'return-pump': 0 })).toBe('clear');
    expect(feed(drive, 5, running)).toBe('clear');
    expect(feed(drive, 5, { ...running, skimmer: 0 })).toBe('clear');
    expect(feed(drive, 60, { ...running, 'return-pump': 0, skimmer: 0 })).toBe('clear');
  });

  it('leaves a visit with everything unplugged alone, and a power cut to site-power-lost', () => {
    const visit = started();
    feed(visit, 60, running);
    expect(feed(visit, 50, { 'return-pump': 0, skimmer: 0, heater: 0, uv: 0, light: 300, volts: 120 })).toBe('clear');
    const cut = started();
    feed(cut, 60, running);
    expect(feed(cut, 60, { 'return-pump': 0, skimmer: 0, heater: 0, uv: 0, light: 0, volts: 0 })).toBe('clear');
  });

  it.each(['skimmer', 'return-pump'])('finds a strip of a %s and a heater that idled when the breaker fell, once the heater is overdue; not where no flow leaves the heater without work', (pump) => {
    const two = [meter(pump), meter('heater'), meter('uv'), volts];
    const drive = started(two, pump);
    const day = { [pump]: 70, uv: 40, volts: 120 };
    for (let cycle = 0; cycle < 20; cycle += 1) {
      feed(drive, 20, { ...day, heater: 200 });
      feed(drive, 60, { ...day, heater: 0 });
    }
    expect(feed(drive, 20, { ...day, [pump]: 0, heater: 0 })).toBe('clear');
    expect(feed(drive, 60, { ...day, [pump]: 0, heater: 0 })).toBe(pump === 'skimmer' ? 'breached' : 'clear');
    if (pump === 'skimmer') expect(evidenceOf(drive.verdict, 'heater-power')).toBe('at zero, for longer than it ever pauses by itself');
  });

  it('does not take lamps and a chiller that happen to switch off together for a dead circuit', () => {
    const cold = [equipment('chiller', 'chiller', { circuit: 'Breaker 8' }), equipment('light', 'lamps', { circuit: 'Breaker 8' }), equipment('return-pump', 'return-pump', { circuit: 'Breaker 9' })];
    const drive = new Drive(ruleOf(circuitLost, 'chiller', { equipment: cold, points: [meter('chiller'), meter('lamps'), meter('return-pump'), volts] }), T0);
    // How long the lamps rest at night has to be known first.
    feed(drive, 10, { chiller: 0, lamps: 60, 'return-pump': 70, volts: 120 });
    feed(drive, 40, { chiller: 500, lamps: 0, 'return-pump': 70, volts: 120 });
    for (let cycle = 0; cycle < 12; cycle += 1) {
      feed(drive, 20, { chiller: 500, lamps: 60, 'return-pump': 70, volts: 120 });
      feed(drive, 40, { chiller: 0, lamps: 60, 'return-pump': 70, volts: 120 });
    }
    feed(drive, 20, { chiller: 500, lamps: 60, 'return-pump': 70, volts: 120 });
    expect(feed(drive, 45, { chiller: 0, lamps: 0, 'return-pump': 70, volts: 120 })).toBe('clear');
    expect(feed(drive, 60, { chiller: 0, lamps: 0, 'return-pump': 70, volts: 120 })).toBe('breached');
  });

  it('does not take a heater that rests all summer and a feeding pause for a dead strip', () => {
    const drive = started([meter('return-pump'), meter('heater'), meter('uv'), volts]);
    const summer = { 'return-pump': 70, uv: 40, volts: 120 };
    for (let cycle = 0; cycle < 5; cycle += 1) {
      feed(drive, 20, { ...summer, heater: 200 });
      feed(drive, 60, { ...summer, heater: 0 });
    }
    feed(drive, 3 * 24 * 60, { ...summer, heater: 0 });
    expect(feed(drive, 60, { ...summer, 'return-pump': 0, heater: 0 })).toBe('clear');
  });

  it('takes the only piece that ever runs for a witness: lamps, beside a fan in winter', () => {
    const strip = [equipment('light', 'lamps', { circuit: 'Strip 2' }), equipment('fan', 'fan', { circuit: 'Strip 2' }), equipment('return-pump', 'return-pump', { circuit: 'Strip 1' })];
    const drive = new Drive(ruleOf(circuitLost, 'lamps', { equipment: strip, points: [meter('lamps'), meter('fan'), meter('return-pump'), volts] }), T0);
    for (let day = 0; day < 4; day += 1) {
      feed(drive, 10 * 60, { lamps: 100, fan: 0, 'return-pump': 70, volts: 120 });
      expect(feed(drive, 14 * 60, { lamps: 0, fan: 0, 'return-pump': 70, volts: 120 })).toBe('clear');
    }
    expect(feed(drive, 5 * 60, { lamps: 0, fan: 0, 'return-pump': 70, volts: 120 })).toBe('breached');
  });

  it('waits longer where only one piece on it runs all day: it may be paused for feeding', () => {
    const installed = (points: readonly Point[]) => ruleOf(circuitLost, 'return-pump', { equipment: [...stripA, ...stripB], points }).policy.onDelayMs;
    expect(installed([...all, volts])).toBe(5 * MINUTE);
    expect(installed([meter('return-pump'), meter('heater'), meter('uv'), volts])).toBe(12 * MINUTE);
  });

  it('gives a visit its time by day where nothing elsewhere runs all day, and none at night', () => {
    const points = [meter('return-pump'), meter('skimmer'), meter('light'), volts];
    const dead = { 'return-pump': 0, skimmer: 0, light: 60, volts: 120 };
    // T0 is 17:00 in Denver.
    const day = started(points);
    feed(day, 60, { ...dead, 'return-pump': 70, skimmer: 30 });
    expect(feed(day, 59, dead)).toBe('clear');
    day.restart();
    expect(feed(day, 3, dead)).toBe('breached');
    const night = started(points);
    feed(night, 5 * 60, { ...dead, 'return-pump': 70, skimmer: 30 });
    expect(feed(night, 2, dead)).toBe('breached');
  });

  it('is proposed once for each strip with two meters, and nowhere else', () => {
    const subjects = (points: readonly Point[]) => compileRules(fleet({ equipment: [...stripA, ...stripB], points }), new Map([['circuit-lost', circuitLost]])).map(({ title }) => title);
    expect(subjects([...all, volts])).toEqual(['Strip A dead', 'Strip B dead']);
    expect(subjects([meter('return-pump'), meter('uv'), volts])).toEqual([]);
    // Without anything else it could not be told from the mains.
    expect(subjects([meter('return-pump'), meter('skimmer')])).toEqual([]);
  });

  it('is unknown when its meters are silent', () => {
    const drive = started();
    expect(whyOf(drive.verdict)).toBe('return-pump-power has not delivered yet');
    feed(drive, 5, running);
    expect(whyOf(drive.until(drive.nowMs + HOUR))).toBe('return-pump-power has gone silent');
  });
});
