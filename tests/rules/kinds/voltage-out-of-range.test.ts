import { describe, expect, it } from 'vitest';
import { MINUTE } from '../../../src/domain/duration.ts';
import voltageOutOfRange from '../../../src/rules/kinds/voltage-out-of-range.ts';
import { point, ruleOf, setting } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';

const volts = point('voltage', 'supply');
const started = (settings: Record<string, unknown> = {}) => new Drive(ruleOf(voltageOutOfRange, 'supply', { points: [volts], ruleSettings: [setting('voltage-out-of-range', 'supply', settings)] }), T0);
const feed = (drive: Drive, ...values: number[]) => values.map((value) => drive.reading(volts.id, drive.nowMs + MINUTE, value).state);

describe('voltage-out-of-range', () => {
  it('takes the band of ANSI C84.1, range B utilisation, at 120 V (104–127 V; from memory), back one percent inside', () => {
    expect(feed(started(), 118, 104.1, 103.9, 105, 105.3, 126.9, 127.1, 126, 125.7)).toEqual(['clear', 'clear', 'breached', 'breached', 'clear', 'clear', 'breached', 'breached', 'clear']);
  });

  it('takes that of EN 50160 at 230 V (± 10 %; from memory)', () => {
    const drive = started();
    expect(feed(drive, 232, 207.1, 206.9)).toEqual(['clear', 'clear', 'breached']);
    expect(summaryOf(drive.verdict)).toBe('the supply is at 206.9 V, lowest allowed 207 V');
    expect(evidenceOf(drive.verdict, 'Supply')).toBe(206.9);
  });

  it('does not take a brown-out to half of 230 V for 120 V in good order', () => {
    expect(feed(started(), 230, 118)).toEqual(['clear', 'breached']);
  });

  it('leaves a supply that is gone to site-power-lost', () => {
    expect(feed(started(), 119, 0, 40)).toEqual(['clear', 'clear', 'clear']);
  });

  it('is quiet at the wander of a healthy supply', () => {
    const drive = started();
    for (let minute = 0; minute < 3000; minute += 1) expect(drive.reading(volts.id, T0 + minute * MINUTE, 120 * (1 + 0.03 * Math.sin(minute / 50))).state).toBe('clear');
    expect(drive.writes).toBe(1);
  });

  it('does not write with every reading while it is out', () => {
    const drive = started();
    feed(drive, 118);
    for (let index = 0; index < 600; index += 1) feed(drive, 100 - 0.01 * (index % 50));
    expect(drive.writes).toBeLessThan(5);
  });

  it('takes other limits, and is unknown when nothing is known of the supply', () => {
    expect(feed(started({ nominal: 100 }), 92, 89)).toEqual(['clear', 'breached']);
    expect(feed(started({ low: 110, high: 125 }), 109, 126)).toEqual(['breached', 'breached']);
    const dead = started();
    expect(whyOf(dead.verdict)).toBe('supply has not delivered yet');
    expect(whyOf(dead.reading(volts.id, T0 + 1, 0))).toMatch(/no supply has been seen yet/);
  });
});
