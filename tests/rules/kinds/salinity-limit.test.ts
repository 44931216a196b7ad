import { describe, expect, it } from 'vitest';
import { HOUR, MINUTE } from '../../../src/domain/duration.ts';
import salinityLimit from '../../../src/rules/kinds/salinity-limit.ts';
import { compileRules } from '../../../src/rules/compile.ts';
import { fleet, point, reef, ruleOf, setting } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';
import { beside, feed, probe } from '../salty.ts';

const started = (points = [probe, beside], settings: object = {}, tank = reef) =>
  new Drive(ruleOf(salinityLimit, 'conductivity', { tanks: [tank], points, ruleSettings: [setting('salinity-limit', 'conductivity', { ...settings })] }), T0);

const at = (drive: Drive, celsius: number, mSPerCm: number, minute = 0) => {
  drive.reading(beside.id, T0 + minute * MINUTE, celsius);
  return drive.reading(probe.id, T0 + minute * MINUTE + 1, mSPerCm);
};

describe('salinity-limit', () => {
  // Conductivity of salinity 30, 35 and 40 at 20 and 25 °C (ITS-90): TEOS-10 GSW-C, state of November 2025.
  it.each([
    [20, 41.74785, 'breached', 'salinity 30.0, lower limit 33.0'],
    [25, 46.25324, 'breached', 'salinity 30.0, lower limit 33.0'],
    [20, 47.91804, 'clear', null],
    [25, 53.07103, 'clear', null],
    [20, 53.95096, 'breached', 'salinity 40.0, upper limit 37.0'],
    [25, 59.73393, 'breached', 'salinity 40.0, upper limit 37.0'],
  ] as const)('judges practical salinity, not conductivity: %d °C, %d mS/cm', (celsius, mSPerCm, state, summary) => {
    const verdict = at(started(), celsius, mSPerCm);
    expect(verdict.state).toBe(state);
    if (summary !== null) expect(summaryOf(verdict)).toBe(summary);
  });

  it('has a deadband, and shows the numbers behind', () => {
    const drive = started();
    expect(feed(drive, { toMin: 100, psu: (minute) => (minute < 50 ? 37.3 : 36.8) }).at(-1)).toBe(95);
    expect(evidenceOf(drive.verdict, 'Upper limit')).toBe('37.0');
    expect(evidenceOf(drive.verdict, 'Salinity')).toBe('36.8 (practical salinity)');
    expect(evidenceOf(drive.verdict, 'Temperature at the probe')).toBe('25.50 °C');
    expect(feed(drive, { fromMin: 100, toMin: 200, psu: () => 36.5 })).toEqual([]);
  });

  it('takes a compensated probe for what it is', () => {
    // Seawater of 35 at 20 °C through a linear compensation of 2.0 %/K to 25 °C shows 53.242 (computed, reference table).
    expect(at(started(undefined, { compensation: 'linear', low: 34.95, high: 35.05 }), 20, 53.242).state).toBe('clear');
    expect(at(started(undefined, { compensation: 'seawater', low: 34.95, high: 35.05 }), 20, 53.07103).state).toBe('clear');
    expect(at(started(), 20, 53.242).state).toBe('breached');
  });

  it('judges the conductivity as if at 25 °C where no temperature is measured, with more room, and says so', () => {
    const drive = started([probe]);
    expect(drive.reading(probe.id, T0, 51).state).toBe('clear');
    expect(drive.reading(probe.id, T0 + 1, 46.25324).state).toBe('breached');
    expect(summaryOf(drive.verdict)).toBe('salinity 30.0 (from 46.3 mS/cm, as if the water were at 25 °C), lower limit 33.0');
    expect(evidenceOf(drive.verdict, 'Widened, for want of a temperature, by')).toBe('1.5');
    expect(evidenceOf(drive.verdict, 'Temperature at the probe')).toMatch(/^not measured/);
  });

  it('takes cold water for seawater when it is that salt, and is unknown otherwise', () => {
    const cold = { ...reef, water: 'cold' as const };
    expect(at(started(undefined, {}, cold), 13, 41).state).toBe('clear');
    expect(whyOf(at(started(undefined, {}, cold), 13, 0.5))).toBe('its water is not known to be seawater; write low and high');
    expect(at(started(undefined, { low: 5, high: 12 }, cold), 13, 0.5).state).toBe('breached');
    expect(compileRules(fleet({ tanks: [{ ...reef, water: 'fresh' }], points: [probe, beside] }), new Map([['salinity-limit', salinityLimit]]))).toEqual([]);
  });

  it('is unknown when either is silent, when the formula does not hold, and when nothing measures', () => {
    const drive = started();
    at(drive, 25, 53);
    for (let minute = 1; minute < 20; minute += 1) drive.reading(probe.id, T0 + minute * MINUTE, 53);
    expect(whyOf(drive.verdict)).toBe('sump-temperature has gone silent');
    expect(whyOf(at(started(), 38, 53))).toBe('the water is 38 °C, and the formula holds from -2 to 35 °C');
    expect(whyOf(started().until(T0 + HOUR))).toBe('conductivity has not delivered yet');
    const bare = compileRules(fleet({ points: [point('temperature', 'display-temperature')] }), new Map([['salinity-limit', salinityLimit]]));
    expect(bare.map(({ missing }) => missing)).toEqual(['no conductivity point in the display or the sump']);
  });

  it('does not ring for the minutes of a visit: its on-delay outlasts them', () => {
    const drive = started();
    const breached = feed(drive, { toMin: 1440, everyMin: 1, psu: () => 35, shows: (minute) => (minute >= 600 && minute < 604 ? 0 : null) });
    expect(breached.length).toBeLessThanOrEqual(4);
    expect(salinityLimit.policy.onDelayMs).toBe(30 * MINUTE);
    expect(drive.writes).toBeLessThanOrEqual(2);
  });
});
