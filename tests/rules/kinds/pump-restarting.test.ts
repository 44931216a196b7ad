import { describe, expect, it } from 'vitest';
import { HOUR, MINUTE } from '../../../src/domain/duration.ts';
import pumpRestarting from '../../../src/rules/kinds/pump-restarting.ts';
import { compileRules } from '../../../src/rules/compile.ts';
import { equipment, fleet, point, ruleOf } from '../fleet.ts';
import { Drive, summaryOf, T0, whyOf } from '../drive.ts';

const power = point('power', 'pump-power', { equipmentId: 'reef/return-pump', place: 'equipment', everyMs: MINUTE });
const pump = equipment('return-pump', 'return-pump', { nameplateWatts: 85 });
const started = () => new Drive(ruleOf(pumpRestarting, 'return-pump', { equipment: [pump], points: [power] }), T0);

function feed(drive: Drive, ...watts: number[]): string {
  for (const value of watts) drive.reading(power.id, drive.nowMs + MINUTE, value);
  return drive.verdict.state;
}
const minutes = (count: number, watts: number): number[] => new Array<number>(count).fill(watts);

describe('pump-restarting', () => {
  it('is breached at the fifth start within an hour, and clear when they have become few', () => {
    const drive = started();
    feed(drive, ...minutes(10, 70));
    for (let round = 0; round < 4; round += 1) expect(feed(drive, ...minutes(5, 0), ...minutes(5, 70))).toBe('clear');
    expect(feed(drive, ...minutes(5, 0), 70)).toBe('breached');
    expect(summaryOf(drive.verdict)).toBe('return-pump has started 5 times in the last hour');
    drive.restart();
    expect(feed(drive, ...minutes(30, 70))).toBe('breached');
    expect(feed(drive, ...minutes(30, 70))).toBe('clear');
  });

  it('is breached at the fourth start already, when they come within 20 minutes', () => {
    const drive = started();
    feed(drive, ...minutes(10, 70));
    for (let round = 0; round < 3; round += 1) expect(feed(drive, 0, 0, 70, 70, 70)).toBe('clear');
    expect(feed(drive, 0, 0, 70)).toBe('breached');
    const { kind, settings, roles } = ruleOf(pumpRestarting, 'return-pump', { equipment: [pump], points: [power] });
    expect(kind.surelyAfterMs?.(settings, { points: roles, state: drive.state })).toBe(20 * MINUTE);
    expect(feed(drive, ...minutes(40, 70))).toBe('breached');
    expect(feed(drive, ...minutes(20, 70))).toBe('clear');
  });

  it('is quiet at a day with two feedings and a visit', () => {
    const drive = started();
    feed(drive, ...minutes(60, 70), ...minutes(8, 0), ...minutes(20, 70), ...minutes(8, 0), ...minutes(10, 70), ...minutes(2, 0), ...minutes(5, 70), ...minutes(12, 0));
    expect(feed(drive, 70)).toBe('clear');
  });

  it('does not count a start that nobody saw', () => {
    const drive = started();
    feed(drive, 70, 0);
    for (let round = 0; round < 10; round += 1) {
      drive.until(drive.nowMs + 11 * MINUTE);
      feed(drive, 70, 0);
    }
    expect(drive.verdict.state).toBe('clear');
  });

  it('watches the filter pump where there is no return pump, and stream pumps only when asked to', () => {
    const stream = equipment('circulation-pump', 'stream');
    const subjects = (...installed: (typeof pump)[]) => compileRules(fleet({ equipment: installed, points: [power] }), new Map([['pump-restarting', pumpRestarting]])).map(({ subject }) => subject);
    expect(subjects(pump, stream)).toEqual(['reef/return-pump']);
    expect(subjects(stream)).toEqual(['reef/stream']);
  });

  it('is unknown when its meter is silent or missing', () => {
    const drive = started();
    feed(drive, 70);
    expect(whyOf(drive.until(drive.nowMs + HOUR))).toBe('pump-power has gone silent');
    expect(ruleOf(pumpRestarting, 'return-pump', { equipment: [pump] }).missing).toBe('no power, current, switch or flow point on return-pump');
  });

  it('writes when it starts or stops only', () => {
    const drive = started();
    feed(drive, ...minutes(600, 70));
    expect(drive.writes).toBe(1);
  });
});
