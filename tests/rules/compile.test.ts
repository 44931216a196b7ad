import { beforeAll, describe, expect, it } from 'vitest';
import type { RuleSetting } from '../../src/domain/fleet.ts';
import { checkRuleSetting, checkRuleSettings, compileRules, factsOf, RuleSettingsError, type RuleKinds } from '../../src/rules/compile.ts';
import { loadRuleKinds } from '../../src/rules/load.ts';
import { equipment, fleet, point, reef, setting } from './fleet.ts';

let kinds: RuleKinds;
beforeAll(async () => {
  // What this file expects does not change with every new kind.
  kinds = new Map([...(await loadRuleKinds())].filter(([name]) => some.has(name)));
});
const some: ReadonlySet<string> = new Set(['chiller-short-cycling', 'heater-stuck-on', 'limit', 'return-pump-stopped', 'silent-point', 'top-off-empty', 'top-off-low']);

const installed = {
  equipment: [equipment('heater', 'heater-1', { setpointC: 25.5, bandK: 0.3, nameplateWatts: 500 }), equipment('heater', 'heater-2'), equipment('return-pump', 'return-pump', { nameplateWatts: 85 })],
  points: [point('temperature', 'display-temperature'), point('power', 'heater-1-power', { equipmentId: 'reef/heater-1' }), point('conductivity', 'conductivity')],
};

const compile = (...ruleSettings: RuleSetting[]) => compileRules(fleet({ ...installed, ruleSettings }), kinds);
const check = (...ruleSettings: RuleSetting[]) => checkRuleSettings(fleet({ ...installed, ruleSettings }), kinds);

describe('rules that apply by themselves', () => {
  it('watch everything that is installed, each under one id', () => {
    const ids = compile().map(({ id }) => id);
    expect(ids).toEqual([
      'reef/heater-stuck-on/heater-1',
      'reef/heater-stuck-on/heater-2',
      'reef/limit/display-temperature',
      'reef/return-pump-stopped/return-pump',
      'reef/silent-point/display-temperature',
      'reef/silent-point/heater-1-power',
      'reef/silent-point/conductivity',
    ]);
  });

  it('say why when something they need is not installed', () => {
    const missing = Object.fromEntries(compile().map(({ id, missing: why }) => [id, why]));
    expect(missing['reef/heater-stuck-on/heater-1']).toBeNull();
    expect(missing['reef/heater-stuck-on/heater-2']).toBe('no setpoint is entered for heater-2');
    expect(missing['reef/return-pump-stopped/return-pump']).toBe('no power, current, energy, switch or flow point on return-pump');
  });

  it('take limits and priorities from what is watched', () => {
    const limit = compile().find(({ id }) => id === 'reef/limit/display-temperature');
    expect(limit?.settings).toEqual({ low: 22, high: 29, deadband: null });
    expect(limit?.policy).toEqual({ priority: 'urgent', onDelayMs: 600_000, offDelayMs: 300_000 });
    const silent = Object.fromEntries(compile().filter(({ kind }) => kind.kind === 'silent-point').map(({ id, policy }) => [id, policy.priority]));
    expect(silent).toEqual({ 'reef/silent-point/display-temperature': 'high', 'reef/silent-point/heater-1-power': 'high', 'reef/silent-point/conductivity': 'high' });
  });

  it('run once for a point of the site, however many tanks hang on it', () => {
    const room = point('temperature', 'room', { id: 'harbor-lobby/room', tankId: null, place: 'room' });
    const second = { ...reef, id: 'fresh', name: 'Fresh (invented)' };
    const about = (ruleSettings: RuleSetting[]) => compileRules(fleet({ tanks: [reef, second], points: [room], ruleSettings }), kinds).map(({ id }) => id).filter((id) => id.endsWith('/room'));
    expect(about([])).toEqual(['reef/silent-point/room']);
    expect(about([setting('silent-point', 'room', {}, { tankId: 'fresh' })])).toEqual(['fresh/silent-point/room']);
    expect(about([setting('silent-point', 'room', {}, { tankId: 'fresh', enabled: false })])).toEqual([]);
  });
});

describe('what the fleet file says', () => {
  it('is merged over what the kind proposes', () => {
    const [limit] = compile(setting('limit', 'display-temperature', { low: 24 }, { priority: 'high', onDelayMs: 60_000 })).filter(({ kind }) => kind.kind === 'limit');
    expect(limit?.settings).toEqual({ low: 24, high: 29, deadband: null });
    expect(limit?.policy).toEqual({ priority: 'high', onDelayMs: 60_000, offDelayMs: 300_000 });
  });

  it('may name the subject in full, or leave it out where there is only one', () => {
    expect(check(setting('limit', 'reef/display-temperature', { low: 24 }))).toEqual([]);
    expect(check(setting('limit', null, { low: 24 }))).toEqual([]);
  });

  it('switches a rule off', () => {
    const ids = compile(setting('heater-stuck-on', 'heater-1', {}, { enabled: false })).map(({ id }) => id);
    expect(ids).not.toContain('reef/heater-stuck-on/heater-1');
    expect(ids).toContain('reef/heater-stuck-on/heater-2');
  });

  it('adds a rule where the kind can', () => {
    const added = compile(setting('limit', 'conductivity', { low: 50, high: 55 })).find(({ id }) => id === 'reef/limit/conductivity');
    expect(added?.settings).toEqual({ low: 50, high: 55, deadband: null });
    expect(added?.policy.priority).toBe('high');
    expect([...(added?.roles.keys() ?? [])]).toEqual(['value']);
  });
});

describe('a setting that cannot be carried out', () => {
  it.each([
    ['an unknown kind', setting('heater-stuck', 'heater-1'), 'kind', /no rule kind “heater-stuck”; write one of: chiller-short-cycling, heater-stuck-on/],
    ['an unknown subject', setting('limit', 'heater-9'), 'subject', /reef has no point or equipment “heater-9”; write one of: display-temperature, .*heater-1/],
    ['no subject among several', setting('heater-stuck-on', null), 'subject', /add `subject:` with one of: heater-1, heater-2/],
    ['a subject the kind cannot watch', setting('heater-stuck-on', 'return-pump'), 'subject', /cannot watch “return-pump”; write one of: heater-1, heater-2/],
    ['limits on equipment', setting('limit', 'heater-1', { low: 1 }), 'subject', /limits are for points/],
    ['a rule switched off that is not there', setting('limit', 'conductivity', {}, { enabled: false }), 'subject', /nothing to switch off/],
    ['an unknown setting', setting('limit', 'display-temperature', { max: 27 }), 'max', /limit has no setting “max”; its settings are: low, high, deadband/],
    ['a text for a number', setting('limit', 'display-temperature', { low: '24 °C' }), 'low', /expected number.*low: Lowest value allowed, in the canonical unit/],
    ['limits the wrong way round', setting('limit', 'display-temperature', { low: 30 }), 'low', /low \(30\) must be below high \(29\)/],
    ['limits in °F', setting('limit', 'display-temperature', { low: 76, high: 82 }), 'high', /high 82 °C is outside of what a temperature can be/],
    ['an added limit without limits', setting('limit', 'conductivity'), 'low', /neither low nor high is set/],
    ['a deadband wider than the limits', setting('limit', 'conductivity', { low: 50, high: 55, deadband: 5 }), 'deadband', /write less than 5/],
    ['a duration without unit', setting('heater-stuck-on', 'heater-1', { lag: 20 }), 'lag', /write a duration with its unit/],
    ['a duration that is none', setting('heater-stuck-on', 'heater-1', { lag: 'soon' }), 'lag', /“soon” is no duration/],
  ])('%s', (_name, wrong, key, message) => {
    const problems = check(wrong);
    expect(problems).toHaveLength(1);
    expect(problems[0]).toMatchObject({ tankId: 'reef', kind: wrong.kind, subject: wrong.subject, key });
    expect(problems[0]?.message).toMatch(message);
    expect(() => compile(wrong)).toThrow(RuleSettingsError);
    expect(checkRuleSetting(kinds, wrong, factsOf(fleet(installed), 'reef'))).toEqual(problems);
  });

  it('two entries for one rule', () => {
    const problems = check(setting('limit', 'display-temperature', { low: 24 }), setting('limit', 'reef/display-temperature', { high: 28 }));
    expect(problems.map(({ message }) => message)).toEqual(['the rule reef/limit/display-temperature is set twice; keep one entry with all of its settings']);
  });

  it('takes no other problem down with it', () => {
    expect(check(setting('nonsense', null), setting('limit', 'heater-9'))).toHaveLength(2);
  });
});

describe('a large fleet', () => {
  it('is compiled in one pass: 1,000 tanks of 10 points', () => {
    const tanks = Array.from({ length: 1000 }, (_, index) => ({ ...reef, id: `tank-${index}` }));
    const points = tanks.flatMap(({ id }) => Array.from({ length: 10 }, (_, index) => point('temperature', `t${index}`, { id: `${id}/t${index}`, tankId: id })));
    // Looking through all points for every tank would be 10 million comparisons for each kind.
    expect(compileRules(fleet({ tanks, points }), kinds)).toHaveLength(1000 * 11);
  }, 30_000);
});
