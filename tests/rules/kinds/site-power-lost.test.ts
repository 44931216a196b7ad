import { describe, expect, it } from 'vitest';
import { HOUR, MINUTE } from '../../../src/domain/duration.ts';
import type { EquipmentKind, Point } from '../../../src/domain/fleet.ts';
import sitePowerLost from '../../../src/rules/kinds/site-power-lost.ts';
import { compileRules } from '../../../src/rules/compile.ts';
import { equipment, fleet, point, reef, ruleOf } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0, whyOf } from '../drive.ts';

const kindsOf: Record<string, EquipmentKind> = { 'return-pump': 'return-pump', skimmer: 'skimmer', uv: 'uv', heater: 'heater' };
const pieces = Object.entries(kindsOf).map(([name, kind]) => equipment(kind, name));
const meter = (name: string): Point => point('power', `${name}-power`, { equipmentId: `reef/${name}`, place: 'equipment', everyMs: MINUTE });
const volts = point('voltage', 'supply', { id: 'harbor-lobby/supply', tankId: null, place: 'room', everyMs: MINUTE });
const steady = [meter('return-pump'), meter('skimmer'), meter('uv')];
const rule = (...points: Point[]) => ruleOf(sitePowerLost, 'mains', { equipment: pieces, points });
const started = (...points: Point[]) => new Drive(rule(...points), T0);

/** One reading of each point a minute, half a second apart. */
function feed(drive: Drive, minutes: number, watts: Readonly<Record<string, number>>): string {
  const fromMs = drive.nowMs - (drive.nowMs % MINUTE) + MINUTE;
  for (let minute = 0; minute < minutes; minute += 1) {
    Object.entries(watts).forEach(([id, value], index) => drive.reading(id.includes('/') ? id : `reef/${id}-power`, fromMs + minute * MINUTE + index * 500, value));
  }
  return drive.verdict.state;
}
const running = { 'return-pump': 70, skimmer: 30, uv: 40 };
const dead = { 'return-pump': 0, skimmer: 0, uv: 0 };

describe('site-power-lost', () => {
  it('goes by the voltage where it is measured', () => {
    const drive = started(volts, ...steady);
    expect(feed(drive, 5, { [volts.id]: 121, ...running })).toBe('clear');
    expect(feed(drive, 2, { [volts.id]: 0, ...dead })).toBe('breached');
    expect(summaryOf(drive.verdict)).toBe('no mains: the supply is at 0 V where 120 V belong');
    expect(evidenceOf(drive.verdict, 'No supply below')).toBe(60);
    expect(feed(drive, 2, { [volts.id]: 121, ...dead })).toBe('clear');
  });

  it('with a voltage in order knows that everything unplugged on a visit is no power cut', () => {
    const drive = started(volts, ...steady);
    feed(drive, 5, { [volts.id]: 121, ...running });
    expect(feed(drive, 40, { [volts.id]: 121, ...dead })).toBe('clear');
  });

  it('without one takes everything that runs all day falling at once', () => {
    const drive = started(...steady);
    feed(drive, 30, running);
    expect(feed(drive, 1, dead)).toBe('breached');
    expect(summaryOf(drive.verdict)).toBe('no mains: all 3 metered pieces of equipment that run all day fell to zero at once, and nothing else draws');
    drive.restart();
    expect(feed(drive, 30, dead)).toBe('breached');
    expect(feed(drive, 1, running)).toBe('clear');
  });

  it('does not take equipment switched off one by one, or some of it, for a power cut', () => {
    const drive = started(...steady);
    feed(drive, 30, running);
    expect(feed(drive, 5, { ...running, skimmer: 0 })).toBe('clear');
    expect(feed(drive, 5, { ...running, skimmer: 0, uv: 0 })).toBe('clear');
    expect(feed(drive, 60, dead)).toBe('clear');
  });

  it('nor while a heater draws, nor what was never seen running', () => {
    const heated = started(...steady, meter('heater'));
    feed(heated, 30, { ...running, heater: 300 });
    expect(feed(heated, 30, { ...dead, heater: 300 })).toBe('clear');
    expect(feed(started(...steady), 30, dead)).toBe('clear');
  });

  it('waits out a visit where meters are all there is, and a blink where a voltage is', () => {
    expect(rule(...steady).policy.onDelayMs).toBe(15 * MINUTE);
    expect(rule(volts).policy).toMatchObject({ onDelayMs: 3 * MINUTE, priority: 'urgent' });
  });

  it('is one rule for a site of two tanks, and looks at both', () => {
    const bar = { ...reef, id: 'bar', name: 'Bar (invented)' };
    const pump = { ...equipment('return-pump', 'pump'), id: 'bar/pump', tankId: 'bar' };
    const barPower = { ...meter('pump'), id: 'bar/pump-power', tankId: 'bar', equipmentId: 'bar/pump' };
    const rules = compileRules(fleet({ tanks: [reef, bar], equipment: [...pieces, pump], points: [meter('skimmer'), barPower] }), new Map([['site-power-lost', sitePowerLost]]));
    expect(rules.map(({ id }) => id)).toEqual(['reef/site-power-lost/mains']);
    expect([...(rules[0]?.roles.values() ?? [])].map(({ id }) => id)).toEqual(['reef/skimmer-power', 'bar/pump-power']);
  });

  it('is not proposed where nothing tells, and unknown when all of it is silent', () => {
    expect(compileRules(fleet({ equipment: pieces, points: [meter('skimmer')] }), new Map([['site-power-lost', sitePowerLost]]))).toEqual([]);
    const drive = started(...steady);
    expect(whyOf(drive.verdict)).toBe('return-pump-power has not delivered yet');
    feed(drive, 5, running);
    expect(whyOf(drive.until(drive.nowMs + HOUR))).toBe('return-pump-power has gone silent');
  });

  it('writes when a piece starts or stops, and no oftener', () => {
    const drive = started(...steady);
    feed(drive, 600, running);
    expect(drive.writes).toBe(3);
  });
});
