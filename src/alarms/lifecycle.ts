/**
 * The life of an alarm: verdicts, delays, acknowledgement and holds in; transitions out. Pure.
 *
 * States and transitions after ANSI/ISA-18.2 and IEC 62682 (states A–G); on-delay, off-delay and re-alarm as in OPC 10000-9
 * (OPC UA Part 9, "designed in accordance with" both), 5.8 and annex B. The base table is `baseTable` below; the holds
 * (shelved, suppressed, out of service) lie over it and hide it while they last.
 *
 * Two rules of our own:
 * - `unknown` opens nothing and closes nothing; it stops a running delay without forgetting when the condition began.
 * - A delay runs in the readings' own time. Readings that arrive late push the deadline out by as much as they are late,
 *   so that a burst of old readings cannot ring for a condition that the same burst ends.
 *
 * One cause, one page: an alarm that another one explains is suppressed behind it (state F, DSUPR), as soon as its own delay is over and before
 * anybody is rung. What explains what is not known here: `LifeFacts.explain` is asked. Somebody who has been rung already keeps the alarm: it is only
 * shown as explained. When the cause is over, a grace begins; what is still true after it asks for somebody from then on, by its own policy.
 */
import { type Alarm, type AlarmCause, type AlarmState, type AlarmStatus, type BaseState, type Hold, isBehindCause, type Priority, urgencyOf } from '../domain/alarm.ts';
import { MINUTE } from '../domain/duration.ts';
import type { Verdict } from '../domain/verdict.ts';

export interface LifeState {
  readonly status: AlarmStatus;
  /** The open alarm, if any. */
  readonly alarm: Alarm | null;
}

export type LifeEvent =
  | { readonly type: 'verdict'; readonly verdict: Verdict; /** Time of the reading or wake-up behind it. */ readonly atMs: number }
  /** The delay deadline `status.dueMs` has passed. */
  | { readonly type: 'due' }
  | { readonly type: 'acknowledge'; readonly by: string }
  | { readonly type: 'hold'; readonly hold: Hold }
  | { readonly type: 'release'; readonly by: string; readonly reason: 'unshelved' | 'shelf-expired' | 'returned-to-service' | 'surfaced' }
  /** A cause has turned up, or another one has taken its place. */
  | { readonly type: 'explained'; readonly cause: AlarmCause }
  /** Nothing explains it any more. */
  | { readonly type: 'cause-over' };

export type TransitionReason =
  | 'condition-true' | 'condition-true-again' | 'condition-false' | 'acknowledged'
  | 'shelved' | 'suppressed' | 'taken-out-of-service' | 'unshelved' | 'shelf-expired' | 'returned-to-service' | 'rule-removed'
  | 'explained' | 'cause-over' | 'surfaced';

/** What is known of the cause of a condition that is about to ring. `wait`: one may turn up; look again then. */
export type Explanation =
  | { readonly kind: 'none' }
  | { readonly kind: 'wait'; readonly untilMs: number }
  | { readonly kind: 'explained'; readonly cause: AlarmCause };

export interface Transition {
  readonly from: AlarmState;
  readonly to: AlarmState;
  readonly reason: TransitionReason;
  readonly by: string;
  /** The alarm as it stands after the transition; `null` when a hold changed with no alarm open. */
  readonly alarm: Alarm | null;
}

export type LifeStep =
  | { readonly state: LifeState; readonly transitions: readonly Transition[] }
  | { readonly refused: string };

/** What an alarm is made of when it opens. */
export interface LifeFacts extends Pick<Alarm, 'ruleId' | 'ruleKind' | 'tankId' | 'siteId' | 'title' | 'policy'> {
  /** Id to give to an alarm that opens in this step. */
  readonly nextAlarmId: number;
  /** Asked when the alarm would ring; left out: nothing explains it. */
  readonly explain?: (status: AlarmStatus, nowMs: number) => Explanation;
  /** Asked when the alarm opens: the priority of the most urgent of what it explains and nobody has been rung for yet; `null`: nothing. Left out: nothing. */
  readonly leadsTo?: (status: AlarmStatus) => Priority | null;
}

/** When a cause is over, what it explained has this long, or its own on-delay if that is longer, to end as well. */
export const leastGraceMs = 5 * MINUTE;

const service = 'tankbell';

/** ISA-18.2 states A–D: from, on what, to. */
export const baseTable: Readonly<Record<BaseState, Readonly<Partial<Record<'condition-true' | 'condition-false' | 'acknowledge', BaseState>>>>> = {
  normal: { 'condition-true': 'unacknowledged' },
  unacknowledged: { acknowledge: 'acknowledged', 'condition-false': 'returned' },
  acknowledged: { 'condition-false': 'normal' },
  returned: { acknowledge: 'normal', 'condition-true': 'unacknowledged' },
};

export function initialStatus(ruleId: string): AlarmStatus {
  return {
    ruleId, condition: 'clear', verdict: 'unknown', unknownWhy: 'no reading yet', lastKnown: 'clear', verdictSinceMs: null,
    breach: null, dueMs: null, heldBackMs: null, base: 'normal', hold: null, alarmId: null,
  };
}

export const stateOf = (status: AlarmStatus): AlarmState => status.hold?.kind ?? status.base;

/** One step. Returns the same `state` object when nothing changed. */
export function stepLife(state: LifeState, event: LifeEvent, facts: LifeFacts, nowMs: number): LifeStep {
  switch (event.type) {
    case 'verdict':
      return onVerdict(state, event.verdict, event.atMs, facts, nowMs);
    case 'due':
      return state.status.dueMs === null ? unchanged(state) : follow(state, facts, nowMs);
    case 'acknowledge':
      return acknowledge(state, event.by, nowMs);
    case 'hold':
      return hold(state, event.hold);
    case 'release':
      return release(state, event, facts, nowMs);
    case 'explained':
      return explained(state, event.cause, nowMs);
    case 'cause-over':
      return causeOver(state, facts, nowMs);
  }
}

/** Does a verdict say what is known and settled already? */
export function isNoNews(status: AlarmStatus, verdict: Verdict): boolean {
  if (status.verdict !== verdict.state) return false;
  return verdict.state === 'unknown' ? status.unknownWhy === verdict.why : status.condition === verdict.state;
}

const unchanged = (state: LifeState): LifeStep => ({ state, transitions: [] });

function onVerdict(state: LifeState, verdict: Verdict, atMs: number, facts: LifeFacts, nowMs: number): LifeStep {
  const { status } = state;
  if (isNoNews(status, verdict)) return unchanged(state);
  if (verdict.state === 'unknown') return unchanged({ ...state, status: { ...status, verdict: 'unknown', unknownWhy: verdict.why, dueMs: null } });
  const settled = verdict.state === status.condition;
  const sinceMs = status.lastKnown === verdict.state && status.verdictSinceMs !== null ? status.verdictSinceMs : atMs;
  const delayMs = verdict.state === 'breached' ? facts.policy.onDelayMs : (state.alarm?.policy ?? facts.policy).offDelayMs;
  const latenessMs = Math.max(0, nowMs - atMs);
  const next: LifeState = {
    ...state,
    status: {
      ...status,
      verdict: verdict.state,
      unknownWhy: null,
      lastKnown: verdict.state,
      verdictSinceMs: sinceMs,
      breach: verdict.state === 'breached' ? { summary: verdict.summary, evidence: verdict.evidence, ...(verdict.side === undefined ? {} : { side: verdict.side }) } : status.condition === 'breached' ? status.breach : null,
      dueMs: settled ? null : Math.max(nowMs, sinceMs + delayMs + latenessMs),
      heldBackMs: verdict.state === 'breached' ? status.heldBackMs : null,
    },
  };
  return !settled && delayMs === 0 ? follow(next, facts, nowMs) : unchanged(next);
}

/** The delayed condition follows the verdict. */
function follow(state: LifeState, facts: LifeFacts, nowMs: number): LifeStep {
  const explanation = explanationOf(state.status, facts, nowMs);
  if (explanation.kind === 'wait') {
    return unchanged({ ...state, status: { ...state.status, dueMs: explanation.untilMs, heldBackMs: state.status.heldBackMs ?? nowMs } });
  }
  const status: AlarmStatus = { ...state.status, condition: state.status.lastKnown, dueMs: null, heldBackMs: null };
  if (status.hold !== null) {
    // Held: nothing rings; but an alarm whose condition goes away while it is held is over.
    if (status.condition === 'breached' || state.alarm === null) return unchanged({ status, alarm: state.alarm });
    const alarm: Alarm = { ...state.alarm, state: 'normal', returnedMs: nowMs, closedMs: nowMs, escalation: { ...state.alarm.escalation, dueMs: null } };
    // The suppression ends with what it suppressed; what a person put aside stays there.
    const hold = isBehindCause(state.alarm) ? null : status.hold;
    return {
      state: { status: { ...status, base: 'normal', hold, breach: hold === null ? null : status.breach, alarmId: null }, alarm: null },
      transitions: [{ from: status.hold.kind, to: hold?.kind ?? 'normal', reason: 'condition-false', by: service, alarm }],
    };
  }
  const next: LifeState = { status, alarm: state.alarm };
  if (status.condition === 'clear') return end(next, nowMs);
  if (explanation.kind === 'none') return begin(next, 'condition-true', service, facts, nowMs, null);
  return explanation.cause.quiet ? suppress(next, explanation.cause, facts, nowMs) : begin(next, 'condition-true', service, facts, nowMs, explanation.cause);
}

const unexplained: Explanation = { kind: 'none' };

/** Asked only when it would ring: a record rings nobody, and what a person put aside neither. */
function explanationOf(status: AlarmStatus, facts: LifeFacts, nowMs: number): Explanation {
  const opens = status.lastKnown === 'breached' && status.hold === null && facts.policy.priority !== 'journal';
  return opens ? (facts.explain?.(status, nowMs) ?? unexplained) : unexplained;
}

/** Behind its cause, before anybody is rung: opens an alarm there, or takes the one that is open there. */
function suppress(state: LifeState, cause: AlarmCause, facts: LifeFacts, nowMs: number, from: AlarmState = stateOf(state.status)): LifeStep {
  const { status } = state;
  const hold = behind(cause, nowMs);
  const alarm: Alarm = state.alarm === null ? { ...opened(status, facts, nowMs), state: 'suppressed', cause } : { ...state.alarm, state: 'suppressed', returnedMs: null, cause };
  return {
    state: { status: { ...status, hold, heldBackMs: null, alarmId: alarm.id }, alarm },
    transitions: [{ from, to: 'suppressed', reason: 'suppressed', by: service, alarm }],
  };
}

const behind = (cause: AlarmCause, sinceMs: number): Hold => ({ kind: 'suppressed', by: service, why: `explained by ${cause.title}`, sinceMs, untilMs: null });

function opened(status: AlarmStatus, facts: LifeFacts, nowMs: number): Alarm {
  return {
    id: facts.nextAlarmId, ruleId: facts.ruleId, ruleKind: facts.ruleKind, tankId: facts.tankId, siteId: facts.siteId, title: facts.title,
    policy: { ...facts.policy, priority: openingPriority(status, facts) }, state: 'unacknowledged', beganMs: status.verdictSinceMs ?? nowMs, openedMs: nowMs,
    acknowledgedMs: null, acknowledgedBy: null, returnedMs: null, closedMs: null,
    summary: status.breach?.summary ?? '', evidence: status.breach?.evidence ?? [],
    escalation: { nextStep: 0, dueMs: null, paged: [] }, cause: null,
  };
}

/** A dead strip is as urgent as the pump that stands because of it: then the strip rings at once, and the pump need not. */
function openingPriority(status: AlarmStatus, { policy, leadsTo }: LifeFacts): Priority {
  const most = policy.priority === 'journal' ? null : (leadsTo?.(status) ?? null);
  return most !== null && urgencyOf(most) < urgencyOf(policy.priority) ? most : policy.priority;
}

/** To unacknowledged: opens an alarm, or wakes the one that is open. */
function begin(state: LifeState, reason: TransitionReason, by: string, facts: LifeFacts, nowMs: number, cause: AlarmCause | null, from?: AlarmState): LifeStep {
  const { status } = state;
  // Priority `journal` is a record: it needs nobody, so it is born acknowledged. What comes back from a hold asks anew (re-alarm), from any state.
  const to: BaseState = facts.policy.priority === 'journal' ? 'acknowledged' : (baseTable[status.base]['condition-true'] ?? 'unacknowledged');
  const alarm: Alarm = state.alarm === null
    ? { ...opened(status, facts, nowMs), state: to, cause, acknowledgedMs: to === 'acknowledged' ? nowMs : null, acknowledgedBy: to === 'acknowledged' ? service : null }
    : { ...state.alarm, state: to, cause, acknowledgedMs: null, acknowledgedBy: null, returnedMs: null };
  return {
    state: { status: { ...status, base: to, alarmId: alarm.id }, alarm },
    transitions: [{ from: from ?? status.base, to, reason: state.alarm !== null && reason === 'condition-true' ? 'condition-true-again' : reason, by, alarm }],
  };
}

function end(state: LifeState, nowMs: number): LifeStep {
  const { status, alarm } = state;
  const to = baseTable[status.base]['condition-false'];
  if (alarm === null || to === undefined) return unchanged(state);
  const ended: Alarm = { ...alarm, state: to, returnedMs: nowMs, closedMs: to === 'normal' ? nowMs : null };
  return {
    state: { status: { ...status, base: to, breach: null, alarmId: to === 'normal' ? null : alarm.id }, alarm: to === 'normal' ? null : ended },
    transitions: [{ from: status.base, to, reason: 'condition-false', by: service, alarm: ended }],
  };
}

function acknowledge(state: LifeState, by: string, nowMs: number): LifeStep {
  const { status, alarm } = state;
  if (alarm === null) return { refused: 'This alarm is over: there is nothing left to acknowledge.' };
  if (isBehindCause(alarm)) return { refused: `This alarm is suppressed behind its cause, ${alarm.cause?.title ?? 'another alarm'}: acknowledge that one.` };
  if (status.hold !== null) return { refused: `This alarm is ${holdWord(status.hold)} by ${status.hold.by}: end that first.` };
  const to = baseTable[status.base].acknowledge;
  if (to === undefined) return { refused: `Already acknowledged by ${alarm.acknowledgedBy ?? service}.` };
  const done: Alarm = { ...alarm, state: to, acknowledgedMs: nowMs, acknowledgedBy: by, closedMs: to === 'normal' ? nowMs : null };
  return {
    state: { status: { ...status, base: to, alarmId: to === 'normal' ? null : alarm.id }, alarm: to === 'normal' ? null : done },
    transitions: [{ from: status.base, to, reason: 'acknowledged', by, alarm: done }],
  };
}

function hold(state: LifeState, wanted: Hold): LifeStep {
  const { status, alarm } = state;
  if (status.hold?.kind === 'out-of-service' && wanted.kind !== 'out-of-service') {
    return { refused: `Out of service by ${status.hold.by} (${status.hold.why}): return it to service first.` };
  }
  const held = alarm === null ? null : { ...alarm, state: wanted.kind };
  const reason = wanted.kind === 'out-of-service' ? 'taken-out-of-service' : wanted.kind;
  return {
    state: { status: { ...status, hold: wanted }, alarm: held },
    transitions: [{ from: stateOf(status), to: wanted.kind, reason, by: wanted.by, alarm: held }],
  };
}

function release(state: LifeState, event: Extract<LifeEvent, { type: 'release' }>, facts: LifeFacts, nowMs: number): LifeStep {
  const held = state.status.hold;
  if (held === null || !endedBy[held.kind].includes(event.reason)) {
    if (held?.kind === 'suppressed') return { refused: `This alarm is suppressed: ${held.why}. It comes back by itself.` };
    return { refused: event.reason === 'returned-to-service' ? 'This alarm is not out of service.' : 'This alarm is not shelved.' };
  }
  const status: AlarmStatus = { ...state.status, hold: null };
  // What was put aside while true comes back asking for somebody, whether or not it had been acknowledged before.
  if (status.condition === 'breached') {
    const explanation = explanationOf(status, facts, nowMs);
    const cause = explanation.kind === 'explained' ? explanation.cause : null;
    if (cause?.quiet === true) return suppress({ status, alarm: state.alarm }, cause, facts, nowMs, held.kind);
    return begin({ status, alarm: state.alarm }, event.reason, event.by, facts, nowMs, cause, held.kind);
  }
  const alarm = state.alarm === null ? null : { ...state.alarm, state: status.base };
  return { state: { status, alarm }, transitions: [{ from: held.kind, to: status.base, reason: event.reason, by: event.by, alarm }] };
}

const endedBy: Readonly<Record<Hold['kind'], readonly string[]>> = {
  shelved: ['unshelved', 'shelf-expired'], suppressed: ['surfaced'], 'out-of-service': ['returned-to-service'],
};

function explained(state: LifeState, cause: AlarmCause, nowMs: number): LifeStep {
  const { status, alarm } = state;
  if (alarm === null || status.condition === 'clear') return unchanged(state);
  const isSame = alarm.cause?.alarmId === cause.alarmId && alarm.cause.quiet === cause.quiet;
  if (status.hold !== null) {
    // A cause that does not keep it quiet is none to stay suppressed for: the grace runs, as when there is none.
    if (!isBehindCause(alarm) || !cause.quiet) return unchanged(state);
    const hold = behind(cause, status.hold.sinceMs);
    const moved: Alarm = isSame ? alarm : { ...alarm, cause };
    if (isSame && status.hold.untilMs === null) return unchanged(state);
    return { state: { status: { ...status, hold }, alarm: moved }, transitions: isSame ? [] : [{ from: 'suppressed', to: 'suppressed', reason: 'explained', by: service, alarm: moved }] };
  }
  if (isSame) return unchanged(state);
  const isUntold = status.base === 'unacknowledged' && alarm.escalation.paged.length === 0;
  if (cause.quiet && isUntold) {
    const put: Alarm = { ...alarm, state: 'suppressed', cause };
    return { state: { status: { ...status, hold: behind(cause, nowMs) }, alarm: put }, transitions: [{ from: status.base, to: 'suppressed', reason: 'suppressed', by: service, alarm: put }] };
  }
  const shown: Alarm = { ...alarm, cause };
  return { state: { status, alarm: shown }, transitions: [{ from: status.base, to: status.base, reason: 'explained', by: service, alarm: shown }] };
}

function causeOver(state: LifeState, facts: LifeFacts, nowMs: number): LifeStep {
  const { status, alarm } = state;
  // What is over keeps its cause on the record.
  if (alarm === null || alarm.cause === null || status.condition === 'clear') return unchanged(state);
  if (status.hold !== null && isBehindCause(alarm)) {
    return status.hold.untilMs === null ? unchanged({ status: { ...status, hold: { ...status.hold, untilMs: nowMs + graceMs(facts.policy.onDelayMs) } }, alarm }) : unchanged(state);
  }
  const alone: Alarm = { ...alarm, cause: null };
  const is = stateOf(status);
  return { state: { status, alarm: alone }, transitions: [{ from: is, to: is, reason: 'cause-over', by: service, alarm: alone }] };
}

export const graceMs = (onDelayMs: number): number => Math.max(leastGraceMs, onDelayMs);

/** The rule is gone from the fleet: its alarm, if any, ends with that reason. */
export function removeRule(state: LifeState, nowMs: number): Transition | null {
  if (state.alarm === null) return null;
  const alarm: Alarm = { ...state.alarm, state: 'normal', closedMs: nowMs, escalation: { ...state.alarm.escalation, dueMs: null } };
  return { from: stateOf(state.status), to: 'normal', reason: 'rule-removed', by: service, alarm };
}

export function holdWord(held: Hold): string {
  return held.kind === 'out-of-service' ? 'out of service' : held.kind;
}
