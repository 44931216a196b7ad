import { describe, expect, it } from 'vitest';
import { HOUR, MINUTE } from '../../../src/domain/duration.ts';
import impossibleValue from '../../../src/rules/kinds/impossible-value.ts';
import { compileRules } from '../../../src/rules/compile.ts';
import { BatchBuilder } from '../../../src/engine/batch.ts';
import { Watch } from '../../../src/engine/watch.ts';
import { fleet, point, ruleOf } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0 } from '../drive.ts';

const probe = point('temperature', 'display-temperature', { everyMs: MINUTE });
const started = () => new Drive(ruleOf(impossibleValue, 'display-temperature', { points: [probe] }), T0);
const at = (minutes: number): number => T0 + minutes * MINUTE;

describe('impossible-value', () => {
  it('says what a point says that cannot be true, at the third time within an hour', () => {
    const drive = started();
    drive.reading(probe.id, at(0), 25.1);
    drive.impossible(probe.id, at(1));
    drive.reading(probe.id, at(2), 25.1);
    drive.impossible(probe.id, at(3));
    expect(drive.reading(probe.id, at(4), 25.1).state).toBe('clear');
    drive.impossible(probe.id, at(5));
    expect(summaryOf(drive.verdict)).toBe('says -127.00 °C, and a temperature lies between -20 and 80 °C: a broken wire, a missing probe, an error code or a wrong unit');
    expect(evidenceOf(drive.verdict, 'Last reading that could be true')).toBe(25.1);
    drive.restart();
    expect(drive.reading(probe.id, at(6), 25.1).state).toBe('breached');
  });

  it('is over an hour after the last one, with readings or without', () => {
    for (const goesOn of [true, false]) {
      const drive = started();
      for (const minute of [1, 2, 3]) drive.impossible(probe.id, at(minute));
      for (let minute = 4; goesOn && minute < 63; minute += 1) expect(drive.reading(probe.id, at(minute), 25).state).toBe('breached');
      expect(drive.until(at(62)).state).toBe('breached');
      expect(drive.until(at(63)).state).toBe('clear');
      expect(drive.wakeAtMs).toBeNull();
    }
  });

  it('is quiet at a glitch now and then', () => {
    const drive = started();
    for (let minute = 0; minute < 48 * 60; minute += 1) {
      if (minute % 31 === 0) drive.impossible(probe.id, at(minute));
      else expect(drive.reading(probe.id, at(minute), 25).state).toBe('clear');
    }
  });

  it('writes every ten minutes at most while it lasts, and nothing while all is well', () => {
    const drive = started();
    for (let minute = 0; minute < 60; minute += 1) drive.reading(probe.id, at(minute), 25);
    expect(drive.writes).toBe(0);
    for (let minute = 60; minute < 60 + 24 * 60; minute += 1) drive.impossible(probe.id, at(minute));
    expect(drive.verdict.state).toBe('breached');
    expect(drive.writes).toBeLessThanOrEqual(2 + 24 * 6);
    expect(JSON.stringify(drive.state).length).toBeLessThan(512);
  });

  it('rings for the tank, lists the room, and leaves out switches', () => {
    const points = [probe, point('temperature', 'room', { place: 'room' }), point('switch', 'pad'), point('power', 'by-hand', { source: null })];
    expect(compileRules(fleet({ points }), new Map([['impossible-value', impossibleValue]])).map(({ subject, policy }) => [subject, policy.priority])).toEqual([['reef/display-temperature', 'high'], ['reef/room', 'low']]);
  });

  it('is told of them by the engine, which tells no other rule, and once of a repetition', () => {
    const installed = fleet({ points: [probe] });
    const stored = { ruleStates: [], statuses: [], openAlarms: [], outages: [], calibrations: [], pointStates: [], clocks: new Map(), latest: new Map(), lastStampMs: new Map(), nextAlarmId: 1, aliveMs: null };
    const watch = new Watch(installed, compileRules(installed, new Map([['impossible-value', impossibleValue]])), new Map([[probe.id, 1]]), stored);
    const into = new BatchBuilder();
    const send = (atMs: number, value: number): void => {
      watch.advance(atMs, into);
      watch.sample({ pointId: probe.id, atMs, value, unit: null }, atMs, into);
    };
    send(at(0), 25);
    for (const minute of [1, 1, 1, 2]) send(at(minute), 85);
    expect(watch.verdict('reef/impossible-value/display-temperature')?.state).toBe('clear');
    send(at(3), 85);
    expect(watch.verdict('reef/impossible-value/display-temperature')?.state).toBe('breached');
    watch.advance(at(3) + HOUR + 1, into);
    expect(watch.verdict('reef/impossible-value/display-temperature')?.state).toBe('clear');
  });
});
