import { describe, expect, it } from 'vitest';
import { HOUR, MINUTE } from '../../../src/domain/duration.ts';
import losing from '../../../src/rules/kinds/chiller-losing-capacity.ts';
import { equipment, point, ruleOf } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';

const water = point('temperature', 'display-temperature');
const power = point('power', 'chiller-power', { equipmentId: 'reef/chiller' });
const chiller = equipment('chiller', 'chiller', { setpointC: 26, bandK: 0.4, nameplateWatts: 400 });
const started = (points = [water, power]) => new Drive(ruleOf(losing, 'chiller', { equipment: [chiller], points }), T0);

/** 1135.6 L of seawater, 1290.5 Wh/K (reference table for 300 US gal, computed), loaded by 250–450 W. A reading in two minutes. @returns day of the first breach. */
function run(drive: Drive, days: number, performance: (day: number) => number, fromDay = 0): number | null {
  let celsius = 25.7;
  let cools = false;
  let first: number | null = null;
  const toMs = T0 + (fromDay + days) * 24 * HOUR;
  for (let atMs = T0 + fromDay * 24 * HOUR; atMs < toMs; atMs += 2 * MINUTE) {
    const day = (atMs - T0) / (24 * HOUR);
    const load = 350 + 100 * Math.sin(day * 2 * Math.PI);
    celsius += (load - (cools ? 380 * performance(day) : 0)) / 1290.5 / 30;
    cools = cools ? celsius > 25.6 : celsius > 26.4;
    drive.reading(water.id, atMs, Math.round((celsius + 0.015 * Math.sin(atMs / 31)) * 50) / 50);
    if (drive.reading(power.id, atMs + 1000, cools ? 380 : 4).state === 'breached') first ??= day;
  }
  return first;
}

describe('chiller-losing-capacity', () => {
  it('finds one that loses 3 % of its cooling a day, when it is down to about 60 %', () => {
    const drive = started();
    const day = run(drive, 35, (at) => 2.6 * Math.max(0.2, 1 - 0.03 * Math.max(0, at - 10)));
    // 65 % is passed on day 21.7; the median of four days and two days on end come on top.
    expect(day).toBeGreaterThan(21);
    expect(day).toBeLessThan(29);
    expect(summaryOf(drive.verdict)).toMatch(/^chiller takes out [2-5]\d % of the heat it took out at its best; below 65 % it loses capacity$/);
    // 2.6 per watt drawn, 380 of 400 W of nameplate.
    expect(Number(evidenceOf(drive.verdict, 'At its best, over four days'))).toBeCloseTo(2.6 * 0.95, 0);
  });

  it('is over some days after it was mended, and survives a restart', () => {
    const drive = started();
    run(drive, 35, (at) => 2.6 * Math.max(0.2, 1 - 0.03 * Math.max(0, at - 10)));
    drive.restart();
    expect(drive.verdict.state).toBe('breached');
    run(drive, 4, () => 2.5, 35);
    expect(drive.verdict.state).toBe('clear');
  });

  it('is quiet while the room becomes 10 K warmer, with odd runs and noise', () => {
    const drive = started();
    expect(run(drive, 40, (at) => 2.6 * (1 - 0.2 * Math.min(1, at / 30)) * (Math.floor(at * 24) % 37 === 0 ? 0.4 : 1))).toBeNull();
    expect(drive.verdict.state).toBe('clear');
    expect(JSON.stringify(drive.state).length).toBeLessThan(1500);
    expect(drive.writes).toBeLessThan(40 * 24 * 3);
  }, 20_000);

  it('takes eight days to learn, and counts days, not dates', () => {
    const drive = started();
    run(drive, 7, () => 2.6);
    expect(whyOf(drive.verdict)).toBe('learning what it can do: needs eight days with two runs of 20 min each');
    run(drive, 3, () => 2.6, 7);
    expect(drive.verdict.state).toBe('clear');
    expect(whyOf(drive.until(T0 + 11 * 24 * HOUR))).toMatch(/gone silent/);
    run(drive, 3, () => 2.6, 40);
    expect(drive.verdict.state).toBe('clear');
  });

  it('says what is missing', () => {
    expect(whyOf(started([power]).verdict)).toBe('no temperature point in the display or the sump');
    expect(whyOf(started([water]).verdict)).toBe('no power, current, energy or switch point on chiller');
  });
});
