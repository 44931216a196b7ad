import { describe, expect, it } from 'vitest';
import { HOUR, MINUTE } from '../../../src/domain/duration.ts';
import { loadRuleKinds } from '../../../src/rules/load.ts';
import { compileRules } from '../../../src/rules/compile.ts';
import silentPoint from '../../../src/rules/kinds/silent-point.ts';
import wrongClock from '../../../src/rules/kinds/wrong-clock.ts';
import { stepRule } from '../step-rule.ts';
import { BatchBuilder } from '../../../src/engine/batch.ts';
import { Watch } from '../../../src/engine/watch.ts';
import type { LiveState } from '../../../src/store/contract.ts';
import { fleet, point, ruleOf } from '../fleet.ts';
import { evidenceOf, summaryOf, T0 } from '../drive.ts';

const from = (topic: string, name: string) => point('temperature', name, { source: { topic: `harbor-lobby/${topic}`, format: 'json', options: {} }, everyMs: MINUTE, silentAfterMs: 5 * MINUTE });
const nothing: LiveState = {
  ruleStates: [], statuses: [], openAlarms: [], outages: [], calibrations: [], pointStates: [], clocks: new Map(), latest: new Map(), lastStampMs: new Map(), nextAlarmId: 1, aliveMs: null,
};
const points = [from('probes', 'a'), from('probes', 'b'), from('strip', 'c')];
const rule = ruleOf(wrongClock, 'clock', { points });
const told = (wrong: Readonly<Record<string, { sinceMs: number; behindMs: number }>>) => ({ latest: () => null, previous: () => null, wrongClock: (id: string) => wrong[id] ?? null });

describe('wrong-clock', () => {
  it('names every source whose clock is wrong, and by how much', () => {
    const wrong = { sinceMs: T0, behindMs: HOUR };
    const { state, verdict } = stepRule(rule, rule.kind.initial, { type: 'wake' }, told({ 'reef/a': wrong, 'reef/b': wrong, 'reef/c': { sinceMs: T0, behindMs: -20 * MINUTE } }), T0 + MINUTE);
    expect(summaryOf(verdict)).toBe('the clock of harbor-lobby/probes (and 1 more) is 1 h behind; its readings are stamped when they arrive, until it is right again');
    expect(evidenceOf(verdict, 'harbor-lobby/strip')).toBe('20 min ahead');
    expect(stepRule(rule, state, { type: 'wake' }, told({}), T0 + HOUR).verdict.state).toBe('clear');
  });

  it('is clear as long as nobody has found one wrong, and writes nothing', () => {
    const reading = { type: 'reading', role: 'source-1', atMs: T0, value: 25 } as const;
    const step = stepRule(rule, rule.kind.initial, reading, told({}), T0);
    expect(step).toMatchObject({ state: rule.kind.initial, verdict: { state: 'clear' } });
    expect(step.state).toBe(rule.kind.initial);
  });

  it('is found by the engine while a gateway an hour behind delivers, and is over when it is set right', async () => {
    const installed = fleet({ points });
    const rules = compileRules(installed, new Map([['wrong-clock', wrongClock]]));
    const series = new Map(points.map(({ id }, index) => [id, index + 1]));
    const watch = new Watch(installed, rules, series, nothing);
    const into = new BatchBuilder();
    const send = (atMs: number, lagMs: number): void => {
      watch.advance(atMs, into);
      watch.sample({ pointId: 'reef/a', atMs: atMs - lagMs, value: 25, unit: null }, atMs, into);
    };
    const state = () => watch.verdict('reef/wrong-clock/clock')?.state;
    for (let minute = 0; minute < 3; minute += 1) send(T0 + minute * MINUTE, 2000);
    expect(state() ?? 'clear').toBe('clear');
    for (let minute = 3; minute < 12; minute += 1) send(T0 + minute * MINUTE, HOUR);
    expect(state()).toBe('breached');
    for (let minute = 12; minute < 15; minute += 1) send(T0 + minute * MINUTE, 2000);
    expect(state()).toBe('clear');
    expect([...(await loadRuleKinds()).keys()]).toContain('wrong-clock');
  });

  it.each([['an hour behind', HOUR], ['four hours behind', 4 * HOUR]])('is all that is said of a gateway %s: neither it nor its points are silent', async (_, lagMs) => {
    const installed = fleet({ points: [...points, from('probes', 'd'), from('probes', 'e')] });
    const kinds = await loadRuleKinds();
    const rules = compileRules(installed, new Map(['wrong-clock', 'silent-gateway', 'silent-point'].flatMap((name) => kinds.get(name) ?? []).map((kind) => [kind.kind, kind])));
    const watch = new Watch(installed, rules, new Map(installed.points.map(({ id }, index) => [id, index + 1])), nothing);
    const into = new BatchBuilder();
    watch.start(nothing, T0 - MINUTE, into);
    const opened = new Set<string>();
    // Messages of one topic, one value after the other; the last point dies with the clock.
    for (let minute = 0; minute < 60; minute += 1) {
      const atMs = T0 + minute * MINUTE;
      watch.advance(atMs, into);
      for (const { id } of installed.points) {
        if (id === 'reef/e' && minute >= 20) continue;
        watch.sample({ pointId: id, atMs: atMs - (minute < 20 ? 2000 : lagMs), value: 25, unit: null }, atMs, into);
      }
      for (const alarm of watch.openAlarms.values()) opened.add(alarm.ruleId);
    }
    expect([...opened].sort()).toEqual(['reef/silent-point/e', 'reef/wrong-clock/clock']);
  });

  it('does not make a gateway heard for ever that sends nothing of now: its points are silent after ten more cadences', () => {
    const rule = ruleOf(silentPoint, 'a', { points });
    const at = (minutes: number) => stepRule(rule, { watchedSinceMs: T0, silent: false }, { type: 'wake' }, { latest: () => ({ atMs: T0, value: 25 }), previous: () => null, heardMs: () => T0 + minutes * MINUTE }, T0 + minutes * MINUTE).verdict.state;
    expect(at(14)).toBe('clear');
    expect(at(16)).toBe('breached');
  });
});
