import { describe, expect, it } from 'vitest';
import { MINUTE } from '../../../src/domain/duration.ts';
import type { Equipment, Point } from '../../../src/domain/fleet.ts';
import returnPumpStopped from '../../../src/rules/kinds/return-pump-stopped.ts';
import { compileRules } from '../../../src/rules/compile.ts';
import { equipment, fleet, point, ruleOf, setting } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';

const power = point('power', 'pump-power', { equipmentId: 'reef/return-pump' });
const flow = point('flow', 'pump-flow', { equipmentId: 'reef/return-pump' });
const others = [point('power', 'skimmer-power', { equipmentId: 'reef/skimmer' }), point('power', 'uv-power', { equipmentId: 'reef/uv' })];
const cycling = [point('power', 'heater-power', { equipmentId: 'reef/heater' }), point('power', 'light-power', { equipmentId: 'reef/light' })];

function started(options: { pump?: Partial<Equipment>; points?: readonly Point[]; settings?: Record<string, unknown> } = {}): Drive {
  const installed = [equipment('return-pump', 'return-pump', { nameplateWatts: 85, ...options.pump }), equipment('heater', 'heater'), equipment('light', 'light'), equipment('skimmer', 'skimmer'), equipment('uv', 'uv')];
  return new Drive(ruleOf(returnPumpStopped, 'return-pump', { equipment: installed, points: options.points ?? [power], ruleSettings: [setting('return-pump-stopped', 'return-pump', options.settings ?? {})] }), T0);
}

/** One reading a minute. */
function feed(drive: Drive, pointId: string, fromMinute: number, minutes: number, value: number): void {
  for (let minute = fromMinute; minute < fromMinute + minutes; minute += 1) drive.reading(pointId, T0 + minute * MINUTE, value);
}

describe('return-pump-stopped', () => {
  it('is breached below 20 % of what it has learnt to be normal, and clear again from 30 %', () => {
    const drive = started();
    feed(drive, power.id, 0, 120, 60);
    expect(drive.reading(power.id, T0 + 121 * MINUTE, 12.1).state).toBe('clear');
    expect(drive.reading(power.id, T0 + 122 * MINUTE, 11.9).state).toBe('breached');
    expect(drive.reading(power.id, T0 + 123 * MINUTE, 17.9).state).toBe('breached');
    expect(drive.reading(power.id, T0 + 124 * MINUTE, 18.1).state).toBe('clear');
  });

  it('says what is normal, and for how long it has stood', () => {
    const drive = started();
    feed(drive, power.id, 0, 120, 60);
    feed(drive, power.id, 120, 8, 0.4);
    expect(summaryOf(drive.verdict)).toBe('return-pump draws 0.4 W where 60 W are normal');
    expect(evidenceOf(drive.verdict, 'Stopped for')).toBe('7 min');
  });

  it('before it has learnt, takes the nameplate, and calls a slow speed unknown instead of stopped', () => {
    expect(started().reading(power.id, T0, 60).state).toBe('clear');
    expect(started().reading(power.id, T0, 0).state).toBe('breached');
    const slow = started();
    expect(whyOf(slow.reading(power.id, T0, 12))).toMatch(/less than 20 % of its nameplate; learning/);
    feed(slow, power.id, 1, 90, 12);
    expect(slow.verdict.state).toBe('clear');
    expect(slow.reading(power.id, T0 + 91 * MINUTE, 1).state).toBe('breached');
  });

  it('without nameplate knows nothing of a pump it never saw running', () => {
    const drive = started({ pump: { nameplateWatts: null } });
    expect(whyOf(drive.reading(power.id, T0, 0))).toMatch(/has not been seen running yet/);
    feed(drive, power.id, 1, 90, 40);
    expect(drive.reading(power.id, T0 + 91 * MINUTE, 0).state).toBe('breached');
  });

  it('takes a normal draw from the fleet file', () => {
    const drive = started({ settings: { normalWatts: 10 } });
    expect(drive.reading(power.id, T0, 2.1).state).toBe('clear');
    expect(drive.reading(power.id, T0 + 1, 1.9).state).toBe('breached');
  });

  it('watches the filter of a tank without a return pump by itself, and no stream pump beside one', () => {
    const filter = equipment('circulation-pump', 'filter', { nameplateWatts: 25 });
    const meter = point('power', 'filter-power', { equipmentId: 'reef/filter' });
    const subjects = (pieces: readonly Equipment[], points: readonly Point[]) => compileRules(fleet({ equipment: pieces, points }), new Map([['return-pump-stopped', returnPumpStopped]])).map(({ subject }) => subject);
    expect(subjects([filter], [meter])).toEqual(['reef/filter']);
    expect(subjects([filter], [])).toEqual([]);
    expect(subjects([filter, equipment('return-pump', 'return-pump')], [meter, power])).toEqual(['reef/return-pump']);
  });

  it('does not unlearn its normal while it is stopped', () => {
    const drive = started();
    feed(drive, power.id, 0, 120, 60);
    feed(drive, power.id, 120, 3000, 0.4);
    expect(summaryOf(drive.verdict)).toContain('where 60 W are normal');
  });

  it('finds a blocked pump by its flow, and says when the two disagree', () => {
    const blocked = started({ points: [power, flow] });
    feed(blocked, power.id, 0, 3, 80);
    // A tenth of 900 L an hour.
    expect(blocked.reading(flow.id, T0 + 3 * MINUTE, 91).state).toBe('clear');
    expect(summaryOf(blocked.reading(flow.id, T0 + 4 * MINUTE, 40))).toBe('return-pump moves 40 L/h, next to nothing, and draws 80 W where 85 W are normal');
    const contradicting = started({ points: [power, flow] });
    contradicting.reading(flow.id, T0, 2100);
    expect(summaryOf(contradicting.reading(power.id, T0 + 1000, 0))).toContain('yet its flow reads 2100 L/h: one of the two is wrong');
  });

  it('reads a switch', () => {
    const relay = point('switch', 'pump-switch', { equipmentId: 'reef/return-pump' });
    const drive = started({ points: [relay] });
    expect(drive.reading(relay.id, T0, 1).state).toBe('clear');
    expect(summaryOf(drive.reading(relay.id, T0 + 1, 0))).toBe('return-pump is switched off');
  });

  it('gives a visit its time: by day everything may be off for an hour, at night for none', () => {
    const off = (fromHour: number, minutes: number, settings: Record<string, unknown> = {}) => {
      const drive = started({ points: [power, ...others], settings });
      for (const [pointId, watts] of [[power.id, 60], ['reef/skimmer-power', 35], ['reef/uv-power', 40]] as const) feed(drive, pointId, fromHour * 60, 3, watts);
      for (const pointId of ['reef/skimmer-power', 'reef/uv-power', power.id]) feed(drive, pointId, fromHour * 60 + 3, minutes, 0);
      return drive.verdict.state;
    };
    // T0 is 17:00 in Denver; four hours later it is night.
    expect(off(0, 60)).toBe('clear');
    expect(off(0, 62)).toBe('breached');
    expect(off(0, 2, { visitLasts: '0m' })).toBe('breached');
    expect(off(5, 2)).toBe('breached');
  });

  it('says that it looks like the mains when all other equipment that runs all day is at zero or silent', () => {
    const drive = started({ points: [power, ...others], settings: { visitLasts: '0m' } });
    drive.reading('reef/skimmer-power', T0, 35);
    drive.reading('reef/uv-power', T0, 40);
    expect(summaryOf(drive.reading(power.id, T0 + 1000, 0))).not.toContain('mains');
    drive.reading('reef/skimmer-power', T0 + 30_000, 0);
    drive.reading('reef/uv-power', T0 + 30_000, 0.5);
    expect(summaryOf(drive.reading(power.id, T0 + 31_000, 0))).toContain('all 2 other measured pieces of equipment that run all day are at zero too, which looks like the circuit or the mains');
  });

  it('takes a satisfied heater and dark lamps for no sign of the mains', () => {
    const drive = started({ points: [power, ...cycling] });
    drive.reading('reef/heater-power', T0, 0);
    drive.reading('reef/light-power', T0, 0);
    expect(summaryOf(drive.reading(power.id, T0 + 1000, 0))).not.toContain('mains');
  });

  it('is unknown when its meter is silent, even after a breach', () => {
    const drive = started();
    expect(whyOf(drive.verdict)).toBe('pump-power has not delivered yet');
    drive.reading(power.id, T0, 0);
    expect(whyOf(drive.until(T0 + 601_000))).toBe('pump-power has gone silent');
    const flowOnly = started({ points: [flow] });
    expect(whyOf(flowOnly.verdict)).toBe('pump-flow has not delivered yet');
  });

  it('writes once in ten minutes while it learns, and once an hour from then on', () => {
    const drive = started();
    feed(drive, power.id, 0, 24 * 60, 60);
    expect(drive.writes).toBeLessThanOrEqual(6 + 24);
    feed(drive, power.id, 24 * 60, 10 * 24 * 60, 60);
    expect(JSON.stringify(drive.state).length).toBeLessThan(512);
  });
});
