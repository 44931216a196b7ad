/** What explains an alarm, and for how long one waits to hear of it: held against statuses and alarms made by hand. */
import { beforeEach, describe, expect, test } from 'vitest';
import { initialStatus } from '../../src/alarms/lifecycle.ts';
import type { Alarm, AlarmStatus, Priority } from '../../src/domain/alarm.ts';
import { HOUR, MINUTE } from '../../src/domain/duration.ts';
import { causeLagMs, Causes, endedMs, glanceMs, mostHeldBackMs, unconfirmedMs } from '../../src/engine/causes.ts';
import type { Rule } from '../../src/rules/contract.ts';
import { storyFleet } from '../stories/fleet.ts';
import { causeKinds } from '../stories/one-cause/kinds.ts';

const { rules } = await storyFleet('one-cause', causeKinds);
const mains = ruleOf('lobby/site-power-lost/supply');
const pump = ruleOf('lobby/return-pump-stopped/return-a');
const limit = ruleOf('lobby/limit/temperature');
const silent = ruleOf('lobby/silent-point/heater-power');
const nowMs = 100 * HOUR;

let statuses: Map<string, AlarmStatus>;
let alarms: Map<number, Alarm>;
let causes: Causes;
beforeEach(() => {
  statuses = new Map(rules.map(({ id }) => [id, initialStatus(id)]));
  alarms = new Map();
  causes = new Causes(rules, { status: (id) => statuses.get(id) ?? null, alarm: (id) => alarms.get(id) ?? null, state: () => null });
});

function ruleOf(id: string): Rule {
  const rule = rules.find((one) => one.id === id);
  if (rule === undefined) throw new Error(`no rule ${id}; there are ${rules.map((one) => one.id).join(', ')}`);
  return rule;
}

function ring(rule: Rule, id: number, beganMs: number, { priority = rule.policy.priority, ...facts }: Partial<Omit<Alarm, 'policy'>> & { priority?: Priority } = {}, of: Partial<AlarmStatus> = {}): void {
  alarms.set(id, {
    id, ruleId: rule.id, ruleKind: rule.kind.kind, tankId: rule.facts.tank.id, siteId: rule.facts.site.id, title: rule.title, policy: { ...rule.policy, priority }, state: 'unacknowledged',
    beganMs, openedMs: beganMs, acknowledgedMs: null, acknowledgedBy: null, returnedMs: null, closedMs: null, summary: '', evidence: [], escalation: { nextStep: 0, dueMs: null, paged: [] }, cause: null, ...facts,
  });
  statuses.set(rule.id, { ...initialStatus(rule.id), condition: 'breached', verdict: 'breached', lastKnown: 'breached', verdictSinceMs: beganMs, base: 'unacknowledged', alarmId: id, ...of });
}

const about = (rule: Rule, facts: Partial<AlarmStatus> = {}): AlarmStatus =>
  ({ ...initialStatus(rule.id), verdict: 'breached', lastKnown: 'breached', verdictSinceMs: nowMs - 2 * MINUTE, breach: { summary: '', evidence: [], side: 'low' }, ...facts });
const pending = (rule: Rule, dueMs: number): void => void statuses.set(rule.id, { ...initialStatus(rule.id), verdict: 'breached', lastKnown: 'breached', verdictSinceMs: nowMs - MINUTE, dueMs });
const by = (rule: Rule, alarmId: number, quiet = true) => ({ kind: 'explained', cause: { alarmId, ruleId: rule.id, title: rule.title, quiet } });

describe('what explains', () => {
  test('an open alarm whose condition holds, the root before what follows from it', () => {
    ring(pump, 1, nowMs - HOUR);
    expect(causes.explain(limit, about(limit), nowMs)).toEqual(by(pump, 1));
    ring(mains, 2, nowMs - HOUR);
    expect(causes.explain(limit, about(limit), nowMs)).toEqual(by(mains, 2));
  });

  test('not one that is over, nor one that a person has put aside', () => {
    ring(pump, 1, nowMs - HOUR, { state: 'returned' }, { condition: 'clear', verdict: 'clear', lastKnown: 'clear' });
    expect(causes.explain(limit, about(limit), nowMs)).toEqual({ kind: 'none' });
    ring(pump, 1, nowMs - HOUR, { state: 'shelved' }, { hold: { kind: 'shelved', by: 'ana', why: 'part', sinceMs: 0, untilMs: 1e15 } });
    expect(causes.explain(limit, about(limit), nowMs)).toEqual({ kind: 'none' });
  });

  test('a stuck heater explains too warm, never too cold', () => {
    const heater = ruleOf('lobby/heater-stuck-on/heater');
    ring(heater, 1, nowMs - HOUR);
    expect(causes.explain(limit, about(limit), nowMs).kind).toBe('none');
    expect(causes.explain(limit, about(limit, { breach: { summary: '', evidence: [], side: 'high' } }), nowMs)).toEqual(by(heater, 1));
  });

  test('a cause that is less urgent does not keep quiet; one behind a more urgent root does', () => {
    ring(pump, 1, nowMs - HOUR, { priority: 'high' });
    expect(limit.policy.priority).toBe('urgent');
    expect(causes.explain(limit, about(limit), nowMs)).toEqual(by(pump, 1, false));
    ring(mains, 2, nowMs - HOUR, {}, {});
    // Directly by the mains …
    expect(causes.explain(limit, about(limit), nowMs)).toEqual(by(mains, 2));
    // … and where only the pump explains it, by way of the pump, for it is the mains that somebody is rung for.
    const cycling: Rule = { ...ruleOf('lobby/limit/temperature'), policy: { ...limit.policy, priority: 'urgent' } };
    statuses.set(mains.id, { ...initialStatus(mains.id), hold: { kind: 'shelved', by: 'ana', why: '', sinceMs: 0, untilMs: 1e15 } });
    ring(pump, 1, nowMs - HOUR, { priority: 'high', state: 'suppressed', cause: { alarmId: 2, ruleId: mains.id, title: mains.title, quiet: true } }, { hold: { kind: 'suppressed', by: 'tankbell', why: '', sinceMs: 0, untilMs: null } });
    expect(causes.explain(cycling, about(limit), nowMs)).toEqual(by(pump, 1, true));
  });

  test('it may show later than what it explains, but not by more than an hour', () => {
    ring(pump, 1, nowMs - 2 * MINUTE + causeLagMs);
    expect(causes.explain(limit, about(limit), nowMs).kind).toBe('explained');
    ring(pump, 1, nowMs - 2 * MINUTE + causeLagMs + 1);
    expect(causes.explain(limit, about(limit), nowMs).kind).toBe('none');
  });

  test('mains that cannot be confirmed any more explain what began soon after, not what begins days later', () => {
    ring(mains, 1, nowMs - 2 * MINUTE - unconfirmedMs, {}, { verdict: 'unknown' });
    expect(causes.explain(silent, about(silent), nowMs).kind).toBe('explained');
    ring(mains, 1, nowMs - 2 * MINUTE - unconfirmedMs - 1, {}, { verdict: 'unknown' });
    expect(causes.explain(silent, about(silent, { heldBackMs: nowMs - HOUR }), nowMs).kind).toBe('none');
    // Confirmed, it explains the tank that cools below its limit the next day.
    ring(mains, 1, nowMs - 30 * HOUR);
    expect(causes.explain(limit, about(limit), nowMs).kind).toBe('explained');
  });
});

describe('how long it waits', () => {
  test('a rule without on-delay has its first minute; one with a longer one has had it', () => {
    expect(silent.policy.onDelayMs).toBe(0);
    expect(causes.explain(silent, about(silent), nowMs)).toEqual({ kind: 'wait', untilMs: nowMs + glanceMs });
    expect(causes.explain(silent, about(silent, { heldBackMs: nowMs - glanceMs }), nowMs)).toEqual({ kind: 'none' });
    expect(limit.policy.onDelayMs).toBeGreaterThan(glanceMs);
    expect(causes.explain(limit, about(limit), nowMs)).toEqual({ kind: 'none' });
  });

  test('a cause in its own delay is waited for, and no longer than the bound', () => {
    pending(pump, nowMs + 8 * MINUTE);
    expect(causes.explain(limit, about(limit), nowMs)).toEqual({ kind: 'wait', untilMs: nowMs + 8 * MINUTE + 1 });
    pending(pump, nowMs + 40 * MINUTE);
    expect(causes.explain(limit, about(limit), nowMs)).toEqual({ kind: 'wait', untilMs: nowMs + mostHeldBackMs });
    expect(causes.explain(limit, about(limit, { heldBackMs: nowMs - mostHeldBackMs }), nowMs)).toEqual({ kind: 'none' });
  });

  test('a cause that ended in its own delay: what began with it is given two minutes to end as well', () => {
    const over = (sinceMs: number): void => void statuses.set(mains.id, { ...initialStatus(mains.id), verdict: 'clear', lastKnown: 'clear', verdictSinceMs: sinceMs });
    over(nowMs - 10_000);
    expect(causes.explain(pump, about(pump), nowMs)).toEqual({ kind: 'wait', untilMs: nowMs - 10_000 + endedMs });
    expect(causes.explain(pump, about(pump), nowMs - 10_000 + endedMs)).toEqual({ kind: 'none' });
    // However often the mains blink.
    expect(causes.explain(pump, about(pump, { heldBackMs: nowMs - mostHeldBackMs }), nowMs)).toEqual({ kind: 'none' });
    // Mains that were there before it began have nothing to do with it.
    over(nowMs - 3 * MINUTE);
    expect(causes.explain(pump, about(pump), nowMs)).toEqual({ kind: 'none' });
  });

  test('nothing waits where nothing could explain it', () => {
    const supply = ruleOf('lobby/heater-stuck-on/heater');
    expect(causes.explain(supply, about(supply), nowMs)).toEqual({ kind: 'none' });
  });

  test('a gateway in its own delay is waited for, although it does not speak for the point yet: it falls silent point by point', () => {
    const gateway = ruleOf('lobby/silent-gateway/gateway-plugs');
    const narrow: Rule = { ...gateway, kind: { ...gateway.kind, speaksFor: () => false } };
    const others = rules.map((rule) => (rule === gateway ? narrow : rule));
    const patient = new Causes(others, { status: (id) => statuses.get(id) ?? null, alarm: (id) => alarms.get(id) ?? null, state: () => null });
    pending(narrow, nowMs + 5 * MINUTE);
    expect(patient.explain(silent, about(silent, { heldBackMs: nowMs - glanceMs }), nowMs)).toEqual({ kind: 'wait', untilMs: nowMs + 5 * MINUTE + 1 });
  });

  test('what is more urgent does not wait for what is less', () => {
    const slow = { ...pump, policy: { ...pump.policy, priority: 'high' as const } };
    const others = rules.map((rule) => (rule === pump ? slow : rule));
    const impatient = new Causes(others, { status: (id) => statuses.get(id) ?? null, alarm: (id) => alarms.get(id) ?? null, state: () => null });
    pending(slow, nowMs + 8 * MINUTE);
    expect(impatient.explain(limit, about(limit), nowMs)).toEqual({ kind: 'none' });
    // But for a moment: it is about to open, as urgent as what it explains.
    pending(slow, nowMs + glanceMs);
    expect(impatient.explain(limit, about(limit), nowMs)).toEqual({ kind: 'wait', untilMs: nowMs + glanceMs + 1 });
  });
});

describe('how urgent a cause opens', () => {
  const strip: Rule = { ...mains, policy: { ...mains.policy, priority: 'high' } };

  test('as urgent as what waits for it in its own delay', () => {
    expect(causes.leadsTo(strip, about(strip))).toBeNull();
    pending(silent, nowMs);
    expect(causes.leadsTo(strip, about(strip))).toBe('high');
    pending(pump, nowMs + 8 * MINUTE);
    expect(causes.leadsTo(strip, about(strip))).toBe('urgent');
  });

  test('what somebody has been rung for, or put aside, does not count; what waits for the morning does', () => {
    ring(pump, 1, nowMs - MINUTE, { escalation: { nextStep: 1, dueMs: null, paged: ['ana'] } });
    expect(causes.leadsTo(strip, about(strip))).toBeNull();
    ring(pump, 1, nowMs - MINUTE, {}, { hold: { kind: 'shelved', by: 'ana', why: '', sinceMs: 0, untilMs: 1e15 } });
    expect(causes.leadsTo(strip, about(strip))).toBeNull();
    ring(pump, 1, nowMs - MINUTE);
    expect(causes.leadsTo(strip, about(strip))).toBe('urgent');
    ring(pump, 1, nowMs - 3 * causeLagMs);
    expect(causes.leadsTo(strip, about(strip))).toBeNull();
  });
});
