import { describe, expect, it } from 'vitest';
import silentPoint from '../../../src/rules/kinds/silent-point.ts';
import { compileRules } from '../../../src/rules/compile.ts';
import { fleet, point, ruleOf } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0 } from '../drive.ts';

const id = 'reef/display-temperature';
const started = () => new Drive(ruleOf(silentPoint, 'display-temperature', { points: [point('temperature', 'display-temperature')] }), T0);

describe('silent-point', () => {
  it('is breached when the latest reading is older than allowed, not a moment before', () => {
    const drive = started();
    drive.reading(id, T0 + 1000, 25.43);
    expect(drive.until(T0 + 601_000).state).toBe('clear');
    expect(summaryOf(drive.until(T0 + 601_001))).toBe('stopped: nothing for 10 min, expected every 30 s; the last was 25.43 °C');
    expect(drive.wakeAtMs).toBeNull();
  });

  it('counts a point that never delivered from the moment it is watched', () => {
    const drive = started();
    expect(drive.verdict.state).toBe('clear');
    expect(drive.until(T0 + 600_000).state).toBe('clear');
    expect(summaryOf(drive.until(T0 + 600_001))).toBe('has never delivered: nothing for 10 min, expected every 30 s');
  });

  it('leaves a point that delivers only impossible values to impossible-value, until it is gone', () => {
    const drive = started();
    drive.reading(id, T0, 25);
    for (let atMs = T0 + 30_000; atMs <= T0 + 3_600_000; atMs += 30_000) drive.impossible(id, atMs);
    expect(drive.verdict.state).toBe('clear');
    expect(drive.until(T0 + 4_200_000).state).toBe('clear');
    expect(drive.until(T0 + 4_200_001).state).toBe('breached');
    drive.impossible(id, T0 + 4_300_000);
    expect(drive.verdict.state).toBe('clear');
    expect(drive.until(T0 + 4_900_001).state).toBe('breached');
    expect(evidenceOf(drive.verdict, 'Last usable reading')).toBe(25);
  });

  it('is clear with the first reading after a silence, and watches on', () => {
    const drive = started();
    drive.until(T0 + 3_600_000);
    expect(drive.reading(id, T0 + 3_600_000, 25).state).toBe('clear');
    expect(drive.until(T0 + 4_200_001).state).toBe('breached');
    expect(drive.reading(id, T0 + 5_000_000, 25).state).toBe('clear');
    expect(drive.until(T0 + 5_600_001).state).toBe('breached');
  });

  it('neither writes nor moves its wake-up with readings that come in time', () => {
    const drive = started();
    drive.reading(id, T0 + 1000, 25);
    const { writes, wakeAtMs } = drive;
    for (let index = 1; index < 19; index += 1) drive.reading(id, T0 + 1000 + index * 30_000, 25);
    expect(drive.writes).toBe(writes);
    expect(drive.wakeAtMs).toBe(wakeAtMs);
    for (let index = 19; index < 400; index += 1) expect(drive.reading(id, T0 + 1000 + index * 30_000, 25).state).toBe('clear');
    expect(drive.writes).toBe(writes);
  });

  it('leaves out points that are fed by hand or file', () => {
    const rules = compileRules(fleet({ points: [point('conductivity', 'hand-test', { source: null })] }), new Map([['silent-point', silentPoint]]));
    expect(rules).toEqual([]);
  });
});
