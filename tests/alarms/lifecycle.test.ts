/**
 * The state table of ANSI/ISA-18.2 / IEC 62682 (states A–G) and its transitions: the letters and abbreviations second-hand, as enumerated in
 * industrial automation documentation, the list of transitions from memory; delays after OPC 10000-9 annex B.1.5.
 */
import { describe, expect, test } from 'vitest';
import { initialStatus, type LifeEvent, type LifeFacts, type LifeState, removeRule, stateOf, stepLife } from '../../src/alarms/lifecycle.ts';
import type { Alarm, AlarmState, Hold } from '../../src/domain/alarm.ts';
import { clear, type Verdict } from '../../src/domain/verdict.ts';

const facts: LifeFacts = { ruleId: 't/limit/x', ruleKind: 'limit', tankId: 't', siteId: 's', title: 'X', policy: { priority: 'urgent', onDelayMs: 0, offDelayMs: 0 }, nextAlarmId: 7 };
const delayed: LifeFacts = { ...facts, policy: { priority: 'urgent', onDelayMs: 120_000, offDelayMs: 60_000 } };
const breached = (summary = 'too warm'): Verdict => ({ state: 'breached', summary, evidence: [] });
const unknown: Verdict = { state: 'unknown', why: 'silent' };
const shelf: Hold = { kind: 'shelved', by: 'ana', why: 'part ordered', sinceMs: 0, untilMs: 1e9 };
const outOfService: Hold = { kind: 'out-of-service', by: 'ana', why: 'rebuild', sinceMs: 0, untilMs: null };

const fresh: LifeState = { status: initialStatus('t/limit/x'), alarm: null };

/** Steps through events; each at the given time. */
function run(events: readonly (readonly [number, LifeEvent])[], using: LifeFacts = facts, from: LifeState = fresh): { state: LifeState; seen: string[]; ended: Alarm | null } {
  let state = from;
  const seen: string[] = [];
  let ended: Alarm | null = null;
  for (const [atMs, event] of events) {
    const step = stepLife(state, event, using, atMs);
    if ('refused' in step) {
      seen.push('refused');
      continue;
    }
    state = step.state;
    for (const transition of step.transitions) {
      seen.push(`${transition.from}>${transition.to} ${transition.reason}`);
      if (transition.alarm?.closedMs != null) ended = transition.alarm;
    }
  }
  return { state, seen, ended };
}

const says = (atMs: number, verdict: Verdict): readonly [number, LifeEvent] => [atMs, { type: 'verdict', verdict, atMs }];
const acks = (atMs: number): readonly [number, LifeEvent] => [atMs, { type: 'acknowledge', by: 'ana' }];

describe('the base table', () => {
  test('NORM → UNACK → ACKED → NORM', () => {
    const { seen, state, ended } = run([says(1, breached()), acks(2), says(3, clear)]);
    expect(seen).toEqual(['normal>unacknowledged condition-true', 'unacknowledged>acknowledged acknowledged', 'acknowledged>normal condition-false']);
    expect(state.alarm).toBeNull();
    expect(ended).toMatchObject({ id: 7, openedMs: 1, acknowledgedMs: 2, acknowledgedBy: 'ana', returnedMs: 3, closedMs: 3, state: 'normal' });
  });

  test('UNACK → RTNUN → NORM by acknowledgement', () => {
    const { seen, ended } = run([says(1, breached()), says(2, clear), acks(3)]);
    expect(seen).toEqual(['normal>unacknowledged condition-true', 'unacknowledged>returned condition-false', 'returned>normal acknowledged']);
    expect(ended).toMatchObject({ returnedMs: 2, closedMs: 3 });
  });

  test('RTNUN → UNACK when it is true again: the same alarm, not a second one', () => {
    const { seen, state } = run([says(1, breached()), says(2, clear), says(3, breached())]);
    expect(seen.at(-1)).toBe('returned>unacknowledged condition-true-again');
    expect(state.alarm).toMatchObject({ id: 7, openedMs: 1, returnedMs: null });
  });

  test('acknowledging twice is refused and says who was first', () => {
    const first = run([says(1, breached()), acks(2)]);
    const step = stepLife(first.state, { type: 'acknowledge', by: 'ben' }, facts, 3);
    expect(step).toEqual({ refused: expect.stringContaining('ana') });
  });

  test('acknowledging with no alarm is refused', () => {
    expect(stepLife(fresh, { type: 'acknowledge', by: 'ana' }, facts, 1)).toHaveProperty('refused');
  });

  test('priority journal needs nobody: born acknowledged', () => {
    const { state, seen } = run([says(1, breached())], { ...facts, policy: { ...facts.policy, priority: 'journal' } });
    expect(stateOf(state.status)).toBe('acknowledged');
    expect(seen).toEqual(['normal>acknowledged condition-true']);
  });
});

describe('delays', () => {
  test('on-delay: true for the whole delay, or nothing', () => {
    const short = run([says(0, breached()), says(60_000, clear), says(90_000, breached())], delayed);
    expect(short.seen).toEqual([]);
    expect(short.state.status.dueMs).toBe(90_000 + 120_000);
    const long = run([says(0, breached('29.0')), says(60_000, breached('29.4')), [120_000, { type: 'due' }]], delayed);
    expect(long.seen).toEqual(['normal>unacknowledged condition-true']);
    expect(long.state.alarm).toMatchObject({ beganMs: 0, openedMs: 120_000, summary: '29.4' });
  });

  test('off-delay holds the alarm until the condition has been gone long enough', () => {
    const open = run([says(0, breached()), [120_000, { type: 'due' }]], delayed).state;
    const brief = run([says(130_000, clear), says(150_000, breached())], delayed, open);
    expect(brief.seen).toEqual([]);
    expect(brief.state.status.dueMs).toBeNull();
    expect(run([says(130_000, clear), [190_000, { type: 'due' }]], delayed, open).seen).toEqual(['unacknowledged>returned condition-false']);
  });

  test('unknown opens nothing, closes nothing, and does not restart a running delay', () => {
    const waiting = run([says(0, breached()), says(60_000, unknown)], delayed);
    expect(waiting.state.status.dueMs).toBeNull();
    expect(run([[130_000, { type: 'due' }]], delayed, waiting.state).seen).toEqual([]);
    const again = run([says(200_000, breached())], delayed, waiting.state);
    expect(again.state.status).toMatchObject({ verdictSinceMs: 0, dueMs: 200_000 });
    const open = run([says(1, breached()), says(2, unknown)]);
    expect(stateOf(open.state.status)).toBe('unacknowledged');
  });

  test('readings that arrive late push the deadline out by as much as they are late', () => {
    const step = stepLife(fresh, { type: 'verdict', verdict: breached(), atMs: 0 }, delayed, 300_000);
    if ('refused' in step) throw new Error(step.refused);
    expect(step.state.status.dueMs).toBe(120_000 + 300_000);
    const caughtUp = run([says(310_000, breached())], delayed, step.state);
    expect(caughtUp.state.status.dueMs).toBe(310_000);
  });

  test('the policy is stamped on the alarm: a later off-delay does not touch it', () => {
    const open = run([says(0, breached()), [120_000, { type: 'due' }]], delayed).state;
    const edited: LifeFacts = { ...delayed, policy: { ...delayed.policy, offDelayMs: 3_600_000 } };
    expect(run([says(130_000, clear)], edited, open).state.status.dueMs).toBe(190_000);
  });
});

describe('holds: shelved, suppressed, out of service', () => {
  const holdAt = (atMs: number, hold: Hold): readonly [number, LifeEvent] => [atMs, { type: 'hold', hold }];
  const releaseAt = (atMs: number, reason: 'unshelved' | 'shelf-expired' | 'returned-to-service'): readonly [number, LifeEvent] => [atMs, { type: 'release', by: 'ana', reason }];

  test.each<[AlarmState, readonly (readonly [number, LifeEvent])[]]>([
    ['normal', []],
    ['unacknowledged', [says(1, breached())]],
    ['acknowledged', [says(1, breached()), acks(2)]],
    ['returned', [says(1, breached()), says(2, clear)]],
  ])('from %s to shelved and back by time-out', (from, events) => {
    const before = run(events).state;
    expect(stateOf(before.status)).toBe(from);
    const held = run([holdAt(10, shelf)], facts, before);
    expect(stateOf(held.state.status)).toBe('shelved');
    const back = run([releaseAt(20, 'shelf-expired')], facts, held.state);
    // What is still true comes back asking for somebody; the rest is as it was.
    expect(stateOf(back.state.status)).toBe(from === 'acknowledged' || from === 'unacknowledged' ? 'unacknowledged' : from);
  });

  test('what becomes true on the shelf rings only when it comes off', () => {
    const shelved = run([holdAt(1, shelf), says(2, breached('31 °C'))]);
    expect(shelved.state.alarm).toBeNull();
    const back = run([releaseAt(9, 'unshelved')], facts, shelved.state);
    expect(back.seen).toEqual(['shelved>unacknowledged unshelved']);
    expect(back.state.alarm).toMatchObject({ summary: '31 °C', openedMs: 9 });
  });

  test('what ends on the shelf is over', () => {
    const { state, ended } = run([says(1, breached()), holdAt(2, shelf), says(3, clear)]);
    expect(stateOf(state.status)).toBe('shelved');
    expect(ended).toMatchObject({ returnedMs: 3, closedMs: 3 });
    expect(stateOf(run([releaseAt(4, 'unshelved')], facts, state).state.status)).toBe('normal');
  });

  test('acknowledging a held alarm is refused; so is shelving what is out of service, and ending a hold that is not there', () => {
    const held = run([says(1, breached()), holdAt(2, outOfService)]).state;
    expect(run([acks(3)], facts, held).seen).toEqual(['refused']);
    expect(run([holdAt(3, shelf)], facts, held).seen).toEqual(['refused']);
    expect(run([releaseAt(3, 'unshelved')], facts, held).seen).toEqual(['refused']);
    expect(run([releaseAt(3, 'unshelved')]).seen).toEqual(['refused']);
  });

  test('out of service has no end of its own and returns by hand', () => {
    const held = run([says(1, breached()), holdAt(2, outOfService)]).state;
    expect(held.status.hold?.untilMs).toBeNull();
    expect(run([releaseAt(9, 'returned-to-service')], facts, held).seen).toEqual(['out-of-service>unacknowledged returned-to-service']);
  });
});

test('a rule that leaves the fleet ends its alarm, with that reason', () => {
  const open = run([says(1, breached())]).state;
  expect(removeRule(open, 5)).toMatchObject({ from: 'unacknowledged', to: 'normal', reason: 'rule-removed', alarm: { closedMs: 5 } });
  expect(removeRule(fresh, 5)).toBeNull();
});

test('nothing changed returns the same state object', () => {
  const settled = run([says(1, clear)]).state;
  const step = stepLife(settled, { type: 'verdict', verdict: clear, atMs: 2 }, facts, 2);
  expect('state' in step && step.state).toBe(settled);
});

test('over seeded random events: open alarms and states agree, and closed alarms stay closed', () => {
  let seed = 20_260_303;
  const next = (below: number): number => {
    seed = (Math.imul(seed, 1_103_515_245) + 12_345) >>> 0;
    return Math.floor((seed / 2 ** 32) * below);
  };
  let state = fresh;
  let alarmId = 1;
  const closed = new Set<number>();
  for (let atMs = 1; atMs < 20_000; atMs += 1) {
    const event: LifeEvent = [
      { type: 'verdict', verdict: [clear, breached(), unknown][next(3)] ?? clear, atMs } as const,
      { type: 'due' } as const,
      { type: 'acknowledge', by: 'ana' } as const,
      { type: 'hold', hold: next(2) === 0 ? shelf : outOfService } as const,
      { type: 'release', by: 'ana', reason: (['unshelved', 'shelf-expired', 'returned-to-service'] as const)[next(3)] ?? 'unshelved' } as const,
    ][next(5)] ?? { type: 'due' };
    const step = stepLife(state, event, { ...delayed, nextAlarmId: alarmId }, atMs);
    if ('refused' in step) continue;
    state = step.state;
    for (const { alarm } of step.transitions) {
      if (alarm === null) continue;
      expect(closed.has(alarm.id)).toBe(false);
      alarmId = Math.max(alarmId, alarm.id + 1);
      if (alarm.closedMs !== null) closed.add(alarm.id);
    }
    expect(state.status.alarmId).toBe(state.alarm?.id ?? null);
    if (state.alarm !== null) expect(state.alarm.state).toBe(stateOf(state.status));
    if (state.status.hold === null) expect(state.alarm === null).toBe(state.status.base === 'normal');
  }
  expect(closed.size).toBeGreaterThan(100);
});

/** ISA-18.2 state F, suppressed (DSUPR): "any → suppressed by logic, and back". What explains what is asked for; here it is answered by hand. */
describe('one cause, one page', () => {
  const cause = { alarmId: 3, ruleId: 't/mains/x', title: 'Mains lost', quiet: true };
  const explainedBy = (given = cause): LifeFacts => ({ ...facts, explain: () => ({ kind: 'explained', cause: given }) });
  const paged = (state: LifeState): LifeState => ({ ...state, alarm: state.alarm === null ? null : { ...state.alarm, escalation: { nextStep: 1, dueMs: null, paged: ['ana'] } } });
  const minutes = 60_000;

  test('what is explained when it becomes true opens behind its cause', () => {
    const { state, seen } = run([says(1, breached())], explainedBy());
    expect(seen).toEqual(['normal>suppressed suppressed']);
    expect(state.alarm).toMatchObject({ id: 7, state: 'suppressed', openedMs: 1, cause });
    expect(state.status).toMatchObject({ condition: 'breached', hold: { kind: 'suppressed', why: 'explained by Mains lost', untilMs: null } });
  });

  test('it ends behind its cause without a word to anybody', () => {
    const { state, seen, ended } = run([says(1, breached()), says(2, clear)], explainedBy());
    expect(seen.at(-1)).toBe('suppressed>normal condition-false');
    expect(ended).toMatchObject({ state: 'normal', closedMs: 2, cause });
    expect(state).toMatchObject({ alarm: null, status: { hold: null, base: 'normal', alarmId: null } });
  });

  test('when the cause is over there is a grace, at least five minutes or its own on-delay; then it asks for somebody', () => {
    const behind = run([says(1, breached())], explainedBy()).state;
    const over = run([[10, { type: 'cause-over' }]], facts, behind).state;
    expect(over.status.hold?.untilMs).toBe(10 + 5 * minutes);
    expect(run([[10, { type: 'cause-over' }]], { ...facts, policy: { ...facts.policy, onDelayMs: 20 * minutes } }, behind).state.status.hold?.untilMs).toBe(10 + 20 * minutes);
    // Told again, it does not begin anew.
    expect(run([[99, { type: 'cause-over' }]], facts, over).state).toBe(over);
    const { state, seen } = run([[10 + 5 * minutes, { type: 'release', by: 'tankbell', reason: 'surfaced' }]], facts, over);
    expect(seen).toEqual(['suppressed>unacknowledged surfaced']);
    expect(state.alarm).toMatchObject({ id: 7, state: 'unacknowledged', cause: null });
  });

  test('a cause that comes back within the grace takes it back', () => {
    const over = run([[10, { type: 'cause-over' }]], facts, run([says(1, breached())], explainedBy()).state).state;
    const { state, seen } = run([[20, { type: 'explained', cause }]], facts, over);
    expect(seen).toEqual([]);
    expect(state.status.hold?.untilMs).toBeNull();
    // Another cause takes the place of the first.
    const other = run([[20, { type: 'explained', cause: { ...cause, alarmId: 4, title: 'Gateway silent' } }]], facts, over);
    expect(other.seen).toEqual(['suppressed>suppressed explained']);
    expect(other.state.alarm?.cause?.alarmId).toBe(4);
  });

  test('more urgent than its cause: it rings, and names it', () => {
    const { state, seen } = run([says(1, breached())], explainedBy({ ...cause, quiet: false }));
    expect(seen).toEqual(['normal>unacknowledged condition-true']);
    expect(state.alarm).toMatchObject({ state: 'unacknowledged', cause: { alarmId: 3, quiet: false } });
  });

  test('a cause that shows later: what nobody was rung for goes behind it, what somebody was rung for stays', () => {
    const open = run([says(1, breached())]).state;
    expect(run([[2, { type: 'explained', cause }]], facts, open)).toMatchObject({ seen: ['unacknowledged>suppressed suppressed'], state: { alarm: { state: 'suppressed' } } });
    expect(run([[2, { type: 'explained', cause }]], facts, paged(open))).toMatchObject({ seen: ['unacknowledged>unacknowledged explained'], state: { alarm: { state: 'unacknowledged', cause }, status: { hold: null } } });
    const taken = run([acks(2), [3, { type: 'explained', cause }], [4, { type: 'cause-over' }]], facts, open);
    expect(taken.seen).toEqual(['unacknowledged>acknowledged acknowledged', 'acknowledged>acknowledged explained', 'acknowledged>acknowledged cause-over']);
    expect(taken.state.alarm).toMatchObject({ state: 'acknowledged', cause: null });
  });

  test('held back while a cause may show, and forgotten when it ends meanwhile', () => {
    const waits: LifeFacts = { ...facts, explain: (_status, nowMs) => (nowMs < 500 ? { kind: 'wait', untilMs: 500 } : { kind: 'none' }) };
    const held = run([says(1, breached())], waits);
    expect(held.seen).toEqual([]);
    expect(held.state.status).toMatchObject({ condition: 'clear', dueMs: 500, heldBackMs: 1 });
    expect(run([[500, { type: 'due' }]], waits, held.state)).toMatchObject({ seen: ['normal>unacknowledged condition-true'], state: { status: { heldBackMs: null } } });
    expect(run([says(400, clear)], waits, held.state)).toMatchObject({ seen: [], state: { status: { dueMs: null, heldBackMs: null } } });
  });

  test('suppressed is not acknowledged and not unshelved; a person may still shelve it, and it goes back behind its cause', () => {
    const behind = run([says(1, breached())], explainedBy()).state;
    const refused = (event: LifeEvent): unknown => stepLife(behind, event, facts, 2);
    expect(refused({ type: 'acknowledge', by: 'ana' })).toEqual({ refused: 'This alarm is suppressed behind its cause, Mains lost: acknowledge that one.' });
    expect(refused({ type: 'release', by: 'ana', reason: 'unshelved' })).toEqual({ refused: 'This alarm is suppressed: explained by Mains lost. It comes back by itself.' });
    const { seen } = run([[2, { type: 'hold', hold: shelf }], [3, { type: 'release', by: 'ana', reason: 'unshelved' }]], explainedBy(), behind);
    expect(seen).toEqual(['suppressed>shelved shelved', 'shelved>suppressed suppressed']);
  });

  test('a record rings nobody, and is not suppressed', () => {
    const record: LifeFacts = { ...explainedBy(), policy: { ...facts.policy, priority: 'journal' } };
    expect(run([says(1, breached())], record).seen).toEqual(['normal>acknowledged condition-true']);
  });

  test('opens as urgent as what it leads to, never less urgent than by itself; a record stays one', () => {
    const opens = (own: Alarm['policy']['priority'], leads: Alarm['policy']['priority'] | null) =>
      run([says(1, breached())], { ...facts, policy: { ...facts.policy, priority: own }, leadsTo: () => leads }).state.alarm?.policy.priority;
    expect([opens('high', 'urgent'), opens('high', 'low'), opens('low', null), opens('journal', 'urgent')]).toEqual(['urgent', 'high', 'low', 'journal']);
  });
});
