/** The table of causes: what it may name, that it has no circle, and where each scope reaches. */
import { describe, expect, test } from 'vitest';
import type { Rule } from '../../src/rules/contract.ts';
import { type CauseLine, causeLines, gatewayOf, possibleCauses, speaksFor } from '../../src/rules/causes.ts';
import { compileRules } from '../../src/rules/compile.ts';
import { loadRuleKinds } from '../../src/rules/load.ts';
import { equipment, fleet, point, reef, setting } from './fleet.ts';

const kinds = await loadRuleKinds();
const named = new Set(causeLines.flatMap(({ cause, explains }) => [cause, ...explains]));

test('every kind in the table exists', () => {
  expect([...named].filter((kind) => !kinds.has(kind))).toEqual([]);
});

test('no kind explains itself, directly or by a chain', () => {
  const explainedBy = (kind: string): readonly string[] => causeLines.filter(({ cause }) => cause === kind).flatMap(({ explains }) => explains);
  const reach = (kind: string, seen: ReadonlySet<string>): boolean => explainedBy(kind).some((next) => seen.has(next) || reach(next, new Set([...seen, next])));
  for (const kind of named) expect(reach(kind, new Set([kind])), `${kind} comes back to itself`).toBe(false);
});

test('nothing explains water on the floor, a float for high water, or a heater that is stuck on', () => {
  expect(causeLines.filter(({ explains }) => ['leak-wet', 'heater-stuck-on'].some((kind) => explains.includes(kind)))).toEqual([]);
  // A float that has closed has no side.
  expect(causeLines.filter(({ explains, side }) => explains.includes('sump-high') && side === undefined)).toEqual([]);
});

const installed = {
  equipment: [
    equipment('heater', 'heater', { setpointC: 25.5, bandK: 0.3, nameplateWatts: 300, circuit: 'strip A, outlet 2' }), equipment('heater', 'heater-2', { setpointC: 25.5, bandK: 0.3, nameplateWatts: 300, circuit: 'strip B' }),
    equipment('return-pump', 'pump', { nameplateWatts: 60, circuit: 'strip A, outlet 1' }), equipment('circulation-pump', 'stream', { nameplateWatts: 10 }),
  ],
  points: [
    point('temperature', 'water'), point('temperature', 'room', { place: 'room' }), point('level', 'sump', { place: 'sump' }),
    point('power', 'heater-power', { equipmentId: 'reef/heater', place: 'equipment' }), point('power', 'heater-2-power', { equipmentId: 'reef/heater-2', place: 'equipment' }),
    point('power', 'pump-power', { equipmentId: 'reef/pump', place: 'equipment' }), point('power', 'stream-power', { equipmentId: 'reef/stream', place: 'equipment' }),
    point('temperature', 'other-water', { id: 'bar/water', tankId: 'bar', source: { topic: 'harbor-lobby/bar/water', format: 'number', options: {} } }),
  ],
  tanks: [reef, { ...reef, id: 'bar', name: 'Bar (invented)' }],
  ruleSettings: [setting('limit', 'room', { high: 30 }), setting('limit', 'sump', { low: 100 }), setting('return-pump-stopped', 'stream')],
};
const rules = compileRules(fleet(installed), kinds);
const causesOf = (ruleId: string, lines: readonly CauseLine[] = causeLines): string[] => {
  if (!rules.some(({ id }) => id === ruleId)) throw new Error(`no rule ${ruleId}; there are ${rules.map(({ id }) => id).join(', ')}`);
  return (possibleCauses(rules, lines).get(ruleId) ?? []).map(({ cause, sides }) => `${cause.id} ${sides.join()}`.trim());
};

describe('today', () => {
  test('mains, circuit and return pump, then the heaters by side, explain the temperature of their own tank', () => {
    const causes = causesOf('reef/limit/water');
    expect(causes.slice(0, 2)).toEqual(['reef/site-power-lost/mains', 'reef/circuit-lost/heater']);
    expect(causes.indexOf('reef/return-pump-stopped/pump')).toBeLessThan(causes.indexOf('reef/heater-stuck-on/heater high'));
    expect(causes).toEqual(expect.arrayContaining(['reef/heater-stuck-on/heater-2 high', 'reef/heater-not-heating/heater low', 'reef/heater-weak/heater-2 low']));
    expect(causes.filter((cause) => !cause.startsWith('reef/'))).toEqual([]);
    // Of the other tank of the site, only the mains.
    expect(causesOf('bar/limit/water')).toEqual(['reef/site-power-lost/mains']);
  });

  test('the room is not the water, and a circulation pump moves no heat between display and sump', () => {
    expect(causesOf('reef/limit/room')).toEqual([]);
    expect(causesOf('reef/limit/sump')).toEqual(['reef/return-pump-stopped/pump low']);
  });
});

describe('scopes', () => {
  const line = (scope: CauseLine['scope'], more: Partial<CauseLine> = {}): readonly CauseLine[] => [{ cause: 'return-pump-stopped', explains: ['heater-stuck-on', 'limit', 'silent-point'], scope, ...more }];

  test('site, tank', () => {
    expect(causesOf('bar/limit/water', line('site'))).toEqual(['reef/return-pump-stopped/pump', 'reef/return-pump-stopped/stream']);
    expect(causesOf('bar/limit/water', line('tank'))).toEqual([]);
    expect(causesOf('bar/limit/water', line('site', { causeEquipment: ['circulation-pump'] }))).toEqual(['reef/return-pump-stopped/stream']);
  });

  test('circuit: the strip the equipment hangs on', () => {
    expect(causesOf('reef/heater-stuck-on/heater', line('circuit'))).toEqual(['reef/return-pump-stopped/pump']);
    expect(causesOf('reef/heater-stuck-on/heater-2', line('circuit'))).toEqual([]);
    // A plug that is silent hangs where its equipment does.
    expect(causesOf('reef/silent-point/heater-power', line('circuit'))).toEqual(['reef/return-pump-stopped/pump']);
    expect(causesOf('reef/silent-point/heater-2-power', line('circuit'))).toEqual([]);
  });

  test('equipment: the same piece', () => {
    const tired = rules.filter(({ kind }) => kind.kind === 'heater-stuck-on').map((rule): Rule => ({ ...rule, id: rule.id.replace('stuck-on', 'tired'), kind: { ...rule.kind, kind: 'heater-tired' } }));
    const found = possibleCauses([...rules, ...tired], [{ cause: 'heater-stuck-on', explains: ['heater-tired', 'return-pump-stopped'], scope: 'equipment' }]);
    expect([...found].map(([id, causes]) => [id, ...causes.map(({ cause }) => cause.id)])).toEqual([
      ['reef/heater-tired/heater', 'reef/heater-stuck-on/heater'], ['reef/heater-tired/heater-2', 'reef/heater-stuck-on/heater-2'],
    ]);
  });

  test('point: what reads the point that the cause is about', () => {
    const frozen = rules.filter(({ kind, subject }) => kind.kind === 'silent-point' && subject === 'reef/heater-power').map((rule): Rule => ({ ...rule, id: 'reef/frozen/heater-power', kind: { ...rule.kind, kind: 'frozen' } }));
    const found = possibleCauses([...rules, ...frozen], [{ cause: 'frozen', explains: ['heater-stuck-on', 'limit'], scope: 'point' }]);
    expect([...found.keys()]).toEqual(['reef/heater-stuck-on/heater']);
  });

  test('gateway: the topics of one device', () => {
    expect(causesOf('reef/silent-point/water', line('gateway'))).toEqual(['reef/return-pump-stopped/pump', 'reef/return-pump-stopped/stream']);
    expect(causesOf('bar/silent-point/water', line('gateway'))).toEqual([]);
    expect(gatewayOf({ source: { topic: 'spBv1.0/harbor/plant-room/sump', format: 'sparkplug', options: {} } })).toBe('spBv1.0/harbor/plant-room');
    expect(gatewayOf({ source: { topic: 'spBv1.0/harbor/plant-room', format: 'sparkplug', options: {} } })).toBe('spBv1.0/harbor/plant-room');
    expect(gatewayOf({ source: null })).toBeNull();
  });

  test('a kind that reads points of several gateways says for which it speaks', () => {
    const find = (id: string): Rule => rules.find((rule) => rule.id === id) ?? rules[0] as Rule;
    const mute = find('reef/return-pump-stopped/pump');
    const other = point('power', 'far', { source: { topic: 'harbor-lobby/far/power', format: 'number', options: {} } });
    const wide: Rule = { ...mute, roles: new Map([...mute.roles, ['far', other]]) };
    const others = rules.filter((rule) => rule !== mute);
    expect(possibleCauses([...others, wide], line('gateway')).get('reef/silent-point/water')?.map(({ cause }) => cause.id)).toEqual(['reef/return-pump-stopped/stream']);
    const telling: Rule = { ...wide, kind: { ...wide.kind, speaksFor: (state, { id }) => id.startsWith(String(state)) } };
    expect(possibleCauses([...others, telling], line('gateway')).get('reef/silent-point/water')?.map(({ cause }) => cause.id)).toContain(telling.id);
    expect(speaksFor(telling, 'reef/', find('reef/silent-point/water'))).toBe(true);
    expect(speaksFor(telling, 'bar/', find('reef/silent-point/water'))).toBe(false);
  });

  test('a rule that lacks what it needs explains nothing', () => {
    const lame = rules.map((rule): Rule => (rule.kind.kind === 'return-pump-stopped' ? { ...rule, missing: 'no power point' } : rule));
    expect(possibleCauses(lame, line('site')).size).toBe(0);
  });
});
