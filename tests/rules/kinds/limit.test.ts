import { describe, expect, it } from 'vitest';
import limit from '../../../src/rules/kinds/limit.ts';
import { point, ruleOf, setting } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';

const id = 'reef/display-temperature';
const temperature = point('temperature', 'display-temperature');
const at = (settings: Record<string, unknown>) => new Drive(ruleOf(limit, 'display-temperature', { points: [temperature], ruleSettings: [setting('limit', 'display-temperature', settings)] }), T0);

/** The states after readings 30 s apart. */
function states(drive: Drive, values: readonly number[]): string[] {
  return values.map((value, index) => drive.reading(id, T0 + index * 30_000, value).state);
}

describe('limit', () => {
  it('is breached beyond the limit only, on either side', () => {
    expect(states(at({ low: 24, high: 28 }), [24, 28, 28.01, 26, 23.99])).toEqual(['clear', 'clear', 'breached', 'clear', 'breached']);
  });

  it('holds until the value is back inside by the deadband', () => {
    expect(states(at({ low: 24, high: 28, deadband: 0.5 }), [28.1, 27.51, 27.5, 28])).toEqual(['breached', 'breached', 'clear', 'clear']);
    expect(states(at({ low: 24, high: 28, deadband: 0.5 }), [23.9, 24.49, 24.5])).toEqual(['breached', 'breached', 'clear']);
  });

  it('has 0.2 K of deadband for temperature by itself', () => {
    expect(states(at({ high: 28 }), [28.1, 27.85, 27.79])).toEqual(['breached', 'breached', 'clear']);
  });

  // Flow 5 %, level 2 %, composition 1 % of the span: EEMUA 191, as quoted in a consultancy article on alarm deadbands.
  it.each([
    ['flow', 1000, 3000, 1099, 1101],
    ['level', 100, 400, 105.9, 106.1],
    ['conductivity', 50, 55, 50.04, 50.06],
  ] as const)('has the deadband of its kind: %s', (kind, low, high, stillOut, back) => {
    const other = point(kind, 'other');
    const drive = new Drive(ruleOf(limit, 'other', { points: [other], ruleSettings: [setting('limit', 'other', { low, high })] }), T0);
    expect(drive.reading(other.id, T0, low - 1).state).toBe('breached');
    expect(drive.reading(other.id, T0 + 1, stillOut).state).toBe('breached');
    expect(drive.reading(other.id, T0 + 2, back).state).toBe('clear');
  });

  it('takes the span of a one-sided limit from the limit', () => {
    const flow = point('flow', 'flow');
    const drive = new Drive(ruleOf(limit, 'flow', { points: [flow], ruleSettings: [setting('limit', 'flow', { low: 1000 })] }), T0);
    drive.reading(flow.id, T0, 990);
    expect(drive.reading(flow.id, T0 + 1, 1049).state).toBe('breached');
    expect(drive.reading(flow.id, T0 + 2, 1051).state).toBe('clear');
    expect(drive.reading(flow.id, T0 + 3, 1e6).state).toBe('clear');
  });

  it('goes from one side to the other at once', () => {
    const drive = at({ low: 24, high: 28 });
    expect(summaryOf(drive.reading(id, T0, 29))).toContain('upper limit');
    expect(summaryOf(drive.reading(id, T0 + 1, 20))).toContain('lower limit 24.00 °C');
  });

  it('inside again by less than the deadband says where it comes from', () => {
    const drive = at({ high: 28 });
    drive.reading(id, T0, 28.31);
    expect(summaryOf(drive.reading(id, T0 + 60_000, 27.95))).toBe('27.95 °C after 28.31 °C, not yet clear of the upper limit 28.00 °C');
  });

  it('says how far, since when and how bad it was', () => {
    const drive = at({ high: 28 });
    drive.reading(id, T0, 28.5);
    drive.reading(id, T0 + 180_000, 29.1);
    const verdict = drive.reading(id, T0 + 370_000, 28.9);
    expect(summaryOf(verdict)).toBe('28.90 °C for 6 min, upper limit 28.00 °C');
    expect(evidenceOf(verdict, 'Worst so far')).toBe(29.1);
  });

  it('is unknown before the first reading and when the point goes silent, and remembers the side', () => {
    const drive = at({ high: 28 });
    expect(whyOf(drive.verdict)).toBe('display-temperature has not delivered yet');
    drive.reading(id, T0, 29);
    expect(drive.until(T0 + 600_000).state).toBe('breached');
    expect(whyOf(drive.until(T0 + 600_001))).toBe('display-temperature has gone silent');
    expect(drive.reading(id, T0 + 900_000, 27.9).state).toBe('breached');
  });

  it('writes nothing while nothing changes', () => {
    const drive = at({ low: 24, high: 28 });
    for (let index = 0; index < 200; index += 1) drive.reading(id, T0 + index * 30_000, 25 + Math.sin(index));
    expect(drive.writes).toBe(0);
  });

  it('by itself uses the limits of the kind of water, and the sump where the display is not measured', () => {
    const sump = point('temperature', 'sump-temperature', { place: 'sump' });
    const drive = new Drive(ruleOf(limit, 'sump-temperature', { points: [sump] }), T0);
    expect(drive.reading(sump.id, T0, 28.9).state).toBe('clear');
    expect(drive.reading(sump.id, T0 + 1, 29.1).state).toBe('breached');
  });

  it('shows a tank without a thermometer as unknown', () => {
    const drive = new Drive(ruleOf(limit, 'display-temperature', {}), T0);
    expect(whyOf(drive.verdict)).toBe('no temperature point in the display or the sump');
  });
});
