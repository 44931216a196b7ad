import { describe, expect, it } from 'vitest';
import limit from '../../src/rules/kinds/limit.ts';
import returnPumpStopped from '../../src/rules/kinds/return-pump-stopped.ts';
import { Drive, T0 } from './drive.ts';
import { equipment, point, ruleOf, setting } from './fleet.ts';

describe('noticing silence', () => {
  const value = point('temperature', 'display-temperature');
  const started = () => new Drive(ruleOf(limit, 'display-temperature', { points: [value] }), T0);

  it('looks again when the point could first be silent', () => {
    const drive = started();
    drive.reading(value.id, T0 + 5000, 25);
    expect(drive.until(T0 + 605_000).state).toBe('clear');
    expect(drive.until(T0 + 605_001).state).toBe('unknown');
  });

  it('does not move the wake-up with every reading, only when it fires', () => {
    const drive = started();
    expect(drive.wakeAtMs).toBe(T0 + 600_001);
    for (let atMs = T0; atMs <= T0 + 600_000; atMs += 30_000) drive.reading(value.id, atMs, 25);
    expect(drive.wakeAtMs).toBe(T0 + 600_001);
    expect(drive.until(T0 + 600_001).state).toBe('clear');
    expect(drive.wakeAtMs).toBe(T0 + 1_200_001);
    expect(drive.until(T0 + 1_200_000).state).toBe('clear');
    expect(drive.until(T0 + 1_200_001).state).toBe('unknown');
  });

  it('goes on looking during a silence, so that a point which comes back unseen and goes again is noticed in time', () => {
    const drive = started();
    drive.until(T0 + 5 * 600_001);
    drive.backfill(value.id, T0 + 5 * 600_001 + 1000, 25);
    drive.reading(value.id, T0 + 5 * 600_001 + 31_000, 25);
    expect(drive.until(T0 + 5 * 600_001 + 631_000).state).toBe('clear');
    expect(drive.until(T0 + 5 * 600_001 + 631_001).state).toBe('unknown');
  });

  it('watches the point that goes silent first among several, each with its own patience', () => {
    const slow = point('power', 'pump-power', { equipmentId: 'reef/pump', silentAfterMs: 3_600_000 });
    const fast = point('flow', 'pump-flow', { equipmentId: 'reef/pump', silentAfterMs: 60_000 });
    const drive = new Drive(ruleOf(returnPumpStopped, 'pump', { equipment: [equipment('return-pump', 'pump', { nameplateWatts: 80 })], points: [slow, fast] }), T0);
    drive.reading(fast.id, T0 + 1000, 0);
    expect(drive.until(T0 + 61_000).state).toBe('breached');
    expect(drive.until(T0 + 61_001).state).toBe('unknown');
  });

  it('never shows a stale value as current, whoever asks', () => {
    const hot = new Drive(ruleOf(limit, 'display-temperature', { points: [value], ruleSettings: [setting('limit', 'display-temperature', { high: 26 })] }), T0);
    hot.reading(value.id, T0, 29);
    expect(hot.until(T0 + 600_000).state).toBe('breached');
    expect(hot.until(T0 + 600_001).state).toBe('unknown');
  });
});
