/**
 * The live state of every tank and the one function that moves it: readings, commands and the passing of time in,
 * decisions out into a `BatchBuilder`. No I/O, no clock; the engine (`engine.ts`) commits what is decided here.
 *
 * Same input, same decisions: each input carries the time it arrived, and before it is looked at every deadline that lies before that
 * time fires *at its own time*, earliest first. So neither the size of a batch, nor how often the clock ticks, nor a restart in between
 * can change what is decided (`tests/engine/determinism.test.ts`).
 */
import { initialStatus, removeRule, type LifeEvent, type LifeFacts, type Transition, stepLife } from '../alarms/lifecycle.ts';
import type { Alarm, AlarmStatus } from '../domain/alarm.ts';
import type { Command, CommandResult } from '../domain/command.ts';
import { showDuration } from '../domain/duration.ts';
import type { Fleet, Point } from '../domain/fleet.ts';
import { isUsable, type Reading, type Sample, type SeriesId } from '../domain/reading.ts';
import { clear, type Verdict } from '../domain/verdict.ts';
import { Intake, isRefusal } from '../ingest/intake.ts';
import { pageNext, returnedPages, type Rota, startEscalation, stopEscalation } from '../oncall/escalation.ts';
import type { Rule, RuleInput } from '../rules/contract.ts';
import { restoreState, stepRule } from '../rules/step.ts';
import type { LiveState } from '../store/contract.ts';
import type { BatchBuilder } from './batch.ts';
import { type Deadline, Deadlines } from './deadlines.ts';
import { transitionText } from './words.ts';

/** A longer pause between two signs of life means that nobody was watching. Signs of life are stored at least every 30 s. */
export const downtimeBoundMs = 90_000;

interface Watched {
  readonly rule: Rule;
  readonly facts: Omit<LifeFacts, 'nextAlarmId'>;
  state: unknown;
  wakeAtMs: number | null;
  status: AlarmStatus;
  verdict: Verdict | null;
}

interface PointLive {
  readonly point: Point;
  readonly listeners: readonly { readonly watched: Watched; readonly role: string }[];
  latest: Reading | null;
  previous: Reading | null;
  /** Time of the latest reading of any quality. */
  lastStampMs: number | null;
}

export class Watch {
  readonly statuses = new Map<string, AlarmStatus>();
  readonly openAlarms = new Map<number, Alarm>();
  readonly #watched = new Map<string, Watched>();
  readonly #points = new Map<string, PointLive>();
  readonly #deadlines = new Deadlines();
  readonly #intake: Intake;
  readonly #rota: Rota;
  /** Rules that have a stored state: they have been woken before. */
  readonly #known: ReadonlySet<string>;
  #nextAlarmId: number;

  constructor(fleet: Fleet, rules: readonly Rule[], series: ReadonlyMap<string, SeriesId>, stored: LiveState) {
    this.#intake = new Intake(fleet, series, stored.lastStampMs);
    this.#rota = { onCall: fleet.onCall, people: new Map(fleet.people.map((person) => [person.id, person])) };
    this.#nextAlarmId = stored.nextAlarmId;

    const storedStates = new Map(stored.ruleStates.map((row) => [row.ruleId, row]));
    const known = new Set<string>();
    this.#known = known;
    const storedStatuses = new Map(stored.statuses.map((row) => [row.ruleId, row]));
    const listeners = new Map<string, { watched: Watched; role: string }[]>();
    for (const rule of rules) {
      const row = storedStates.get(rule.id);
      const restored = row === undefined ? null : restoreState(rule, row.state);
      if (restored !== null) known.add(rule.id);
      const watched: Watched = {
        rule,
        facts: { ruleId: rule.id, ruleKind: rule.kind.kind, tankId: rule.facts.tank.id, siteId: rule.facts.site.id, title: rule.title, policy: rule.policy },
        state: restored === null ? rule.kind.initial : restored.state,
        wakeAtMs: restored === null ? null : (row?.wakeAtMs ?? null),
        status: storedStatuses.get(rule.id) ?? initialStatus(rule.id),
        verdict: null,
      };
      this.#watched.set(rule.id, watched);
      this.statuses.set(rule.id, watched.status);
      for (const [role, point] of rule.roles) {
        const list = listeners.get(point.id) ?? [];
        list.push({ watched, role });
        listeners.set(point.id, list);
      }
    }
    for (const point of fleet.points) {
      const id = series.get(point.id);
      const [latest = null, previous = null] = (id === undefined ? undefined : stored.latest.get(id)) ?? [];
      this.#points.set(point.id, { point, listeners: listeners.get(point.id) ?? [], latest, previous, lastStampMs: (id === undefined ? undefined : stored.lastStampMs.get(id)) ?? null });
    }
    for (const alarm of stored.openAlarms) this.openAlarms.set(alarm.id, alarm);
  }

  latest(pointId: string): Reading | null {
    return this.#points.get(pointId)?.latest ?? null;
  }

  previous(pointId: string): Reading | null {
    return this.#points.get(pointId)?.previous ?? null;
  }

  lastStampMs(pointId: string): number | null {
    return this.#points.get(pointId)?.lastStampMs ?? null;
  }

  verdict(ruleId: string): Verdict | null {
    return this.#watched.get(ruleId)?.verdict ?? null;
  }

  /** Takes up where the last process left off. */
  start(stored: LiveState, nowMs: number, into: BatchBuilder): void {
    for (const status of stored.statuses) {
      if (!this.#watched.has(status.ruleId)) this.#dropRule(status, nowMs, into);
    }
    for (const { rule, status, wakeAtMs } of this.#watched.values()) {
      this.#deadlines.set('delay', rule.id, status.dueMs);
      this.#deadlines.set('hold', rule.id, status.hold?.untilMs ?? null);
      this.#deadlines.set('wake', rule.id, wakeAtMs);
    }
    for (const alarm of this.openAlarms.values()) this.#deadlines.set('escalation', String(alarm.id), alarm.escalation.dueMs);
    if (stored.aliveMs !== null && nowMs - stored.aliveMs > downtimeBoundMs) this.resume(stored.aliveMs, nowMs, into);
    for (const watched of this.#watched.values()) {
      if (!this.#known.has(watched.rule.id)) this.#judge(watched, { type: 'wake' }, nowMs, nowMs, into);
    }
  }

  /**
   * Nobody watched from `fromMs` until now (the process was down, or frozen). That time is taken out of everything that waits for
   * silence or for a delay, so that it does not ring for it; shelves go by the clock; an escalation that fell due meanwhile is due now,
   * once, and goes on from here.
   */
  resume(fromMs: number, nowMs: number, into: BatchBuilder): void {
    const pausedMs = nowMs - fromMs;
    into.journal.push({
      atMs: nowMs, kind: 'gap', siteId: null, tankId: null, alarmId: null, by: 'tankbell',
      text: `Tankbell was not watching for ${showDuration(pausedMs)}`, detail: { fromMs, toMs: nowMs },
    });
    for (const watched of this.#watched.values()) {
      const { rule, status, wakeAtMs } = watched;
      if (status.dueMs !== null) {
        this.#setStatus(watched, { ...status, dueMs: status.dueMs + pausedMs }, into);
        this.#deadlines.set('delay', rule.id, status.dueMs + pausedMs);
      }
      if (wakeAtMs !== null) {
        // What was silent is not known: every point has its full time to be heard again.
        const patienceMs = Math.max(0, ...[...rule.roles.values()].map(({ silentAfterMs }) => silentAfterMs + 1));
        watched.wakeAtMs = Math.max(wakeAtMs + pausedMs, nowMs + patienceMs);
        into.ruleState({ ruleId: rule.id, state: watched.state, wakeAtMs: watched.wakeAtMs });
        this.#deadlines.set('wake', rule.id, watched.wakeAtMs);
      }
    }
    for (const alarm of this.openAlarms.values()) {
      const { dueMs } = alarm.escalation;
      if (dueMs !== null && dueMs < nowMs) this.#setAlarm({ ...alarm, escalation: { ...alarm.escalation, dueMs: nowMs } }, into);
    }
  }

  /** Fires every deadline before `nowMs`, each at its own time. */
  advance(nowMs: number, into: BatchBuilder): void {
    for (let due = this.#deadlines.take(nowMs); due !== null; due = this.#deadlines.take(nowMs)) this.#fire(due, into);
  }

  /** One sample of a delivery that arrived at `arrivedMs`; `advance(arrivedMs)` comes first. */
  sample(sample: Sample, arrivedMs: number, into: BatchBuilder): void {
    const taken = this.#intake.take(sample, arrivedMs);
    if (isRefusal(taken)) {
      into.refusal(taken, arrivedMs);
      return;
    }
    into.readings.push(taken);
    const live = this.#points.get(sample.pointId);
    if (live === undefined) return;
    if (live.lastStampMs === null || taken.atMs > live.lastStampMs) live.lastStampMs = taken.atMs;
    if (!isUsable(taken.quality)) return;
    // Known already, or older than what has been judged: it belongs to history, not to now.
    if (live.latest !== null && taken.atMs <= live.latest.atMs) return;
    live.previous = live.latest;
    live.latest = taken;
    if (taken.atMs < arrivedMs - live.point.silentAfterMs) return;
    for (const { watched, role } of live.listeners) {
      this.#judge(watched, { type: 'reading', role, atMs: taken.atMs, value: taken.value }, taken.atMs, arrivedMs, into);
    }
  }

  command(command: Command, nowMs: number, into: BatchBuilder): CommandResult {
    if (command.type === 'note') {
      into.journal.push({ atMs: nowMs, kind: 'note', siteId: null, tankId: command.tankId, alarmId: null, by: command.by, text: command.text, detail: {} });
      return { outcome: 'done' };
    }
    if (command.type === 'acknowledge') {
      const alarm = this.openAlarms.get(command.alarmId);
      const watched = alarm === undefined ? undefined : this.#watched.get(alarm.ruleId);
      if (watched === undefined) return { outcome: 'refused', why: 'This alarm is over: there is nothing left to acknowledge.' };
      return this.#live(watched, { type: 'acknowledge', by: command.by }, nowMs, into, { via: command.via });
    }
    const watched = this.#watched.get(command.ruleId);
    if (watched === undefined) return { outcome: 'refused', why: `There is no rule "${command.ruleId}".` };
    return this.#live(watched, holdEvent(command, nowMs), nowMs, into, {});
  }

  #fire(due: Deadline, into: BatchBuilder): void {
    if (due.kind === 'escalation') {
      const alarm = this.openAlarms.get(Number(due.id));
      if (alarm !== undefined) this.#pageNext(alarm, due.dueMs, into);
      return;
    }
    const watched = this.#watched.get(due.id);
    if (watched === undefined) return;
    switch (due.kind) {
      case 'wake':
        watched.wakeAtMs = null;
        this.#judge(watched, { type: 'wake' }, due.dueMs, due.dueMs, into);
        return;
      case 'delay':
        this.#live(watched, { type: 'due' }, due.dueMs, into, {});
        return;
      case 'hold':
        this.#live(watched, { type: 'release', by: 'tankbell', reason: 'shelf-expired' }, due.dueMs, into, {});
        return;
    }
  }

  #judge(watched: Watched, input: RuleInput, atMs: number, nowMs: number, into: BatchBuilder): void {
    const { rule } = watched;
    const step = stepRule(rule, watched.state, input, this, atMs);
    const wakeAtMs = step.wakeAtMs === undefined ? watched.wakeAtMs : step.wakeAtMs;
    if (step.state !== watched.state || wakeAtMs !== watched.wakeAtMs || input.type === 'wake') {
      watched.state = step.state;
      watched.wakeAtMs = wakeAtMs;
      into.ruleState({ ruleId: rule.id, state: step.state, wakeAtMs });
      this.#deadlines.set('wake', rule.id, wakeAtMs);
    }
    watched.verdict = step.verdict;
    // By far the most frequent case: all was well and is.
    if (step.verdict === clear && watched.status.verdict === 'clear' && watched.status.condition === 'clear') return;
    this.#live(watched, { type: 'verdict', verdict: step.verdict, atMs }, nowMs, into, {});
  }

  #live(watched: Watched, event: LifeEvent, nowMs: number, into: BatchBuilder, detail: Record<string, unknown>): CommandResult {
    const { rule, status } = watched;
    const open = status.alarmId === null ? null : (this.openAlarms.get(status.alarmId) ?? null);
    const step = stepLife({ status, alarm: open }, event, { ...watched.facts, nextAlarmId: this.#nextAlarmId }, nowMs);
    if ('refused' in step) return { outcome: 'refused', why: step.refused };
    if (step.state.status !== status) {
      this.#setStatus(watched, step.state.status, into);
      this.#deadlines.set('delay', rule.id, step.state.status.dueMs);
      this.#deadlines.set('hold', rule.id, step.state.status.hold?.untilMs ?? null);
    }
    for (const transition of step.transitions) this.#record(watched, transition, nowMs, into, detail);
    return { outcome: 'done' };
  }

  /** A transition: the alarm is kept, journaled, and the people on call are set going or stood down. */
  #record(watched: Watched, transition: Transition, nowMs: number, into: BatchBuilder, detail: Record<string, unknown>): void {
    const { rule, status } = watched;
    let { alarm } = transition;
    if (alarm !== null) {
      this.#nextAlarmId = Math.max(this.#nextAlarmId, alarm.id + 1);
      alarm = { ...alarm, escalation: transition.to === 'unacknowledged' ? startEscalation(alarm, this.#rota, nowMs) : stopEscalation(alarm) };
      this.#setAlarm(alarm, into);
    }
    const isHold = transition.to === 'shelved' || transition.to === 'suppressed' || transition.to === 'out-of-service';
    into.journal.push({
      atMs: nowMs, kind: transition.reason === 'acknowledged' ? 'acknowledgement' : isHold && transition.from !== transition.to ? 'hold' : 'alarm',
      siteId: rule.facts.site.id, tankId: rule.facts.tank.id, alarmId: alarm?.id ?? null, by: transition.by,
      text: transitionText(transition.reason, rule.title, transition.by, alarm, status.hold),
      detail: { ruleId: rule.id, from: transition.from, to: transition.to, reason: transition.reason, priority: (alarm?.policy ?? rule.policy).priority, ...detail },
    });
    if (alarm === null) return;
    if (transition.reason === 'condition-false' && !isHold) {
      for (const page of returnedPages(alarm, nowMs)) this.#page(alarm, page, into);
    }
    // Due now means now, not at the next tick.
    if (alarm.escalation.dueMs !== null && alarm.escalation.dueMs <= nowMs) this.#pageNext(alarm, nowMs, into);
  }

  #pageNext(alarm: Alarm, nowMs: number, into: BatchBuilder): void {
    const step = pageNext(alarm, this.#rota, nowMs);
    const paged: Alarm = { ...alarm, escalation: step.escalation };
    this.#setAlarm(paged, into);
    for (const page of step.pages) this.#page(paged, page, into);
    if (step.exhausted) {
      into.journal.push({
        atMs: nowMs, kind: 'page', siteId: alarm.siteId, tankId: alarm.tankId, alarmId: alarm.id, by: 'tankbell',
        text: `${alarm.title}: everybody on call has been paged; nobody further will be`, detail: { paged: paged.escalation.paged },
      });
    }
  }

  #page(alarm: Alarm, page: Parameters<BatchBuilder['pages']['push']>[0], into: BatchBuilder): void {
    into.pages.push(page);
    const name = this.#rota.people.get(page.personId)?.name ?? page.personId;
    into.journal.push({
      atMs: page.createdMs, kind: 'page', siteId: alarm.siteId, tankId: alarm.tankId, alarmId: alarm.id, by: 'tankbell',
      text: `${alarm.title}: page to ${name} (${page.reason})`, detail: { pageId: page.id, personId: page.personId, reason: page.reason },
    });
  }

  #setStatus(watched: Watched, status: AlarmStatus, into: BatchBuilder): void {
    watched.status = status;
    this.statuses.set(watched.rule.id, status);
    into.status(status);
  }

  #setAlarm(alarm: Alarm, into: BatchBuilder): void {
    if (alarm.closedMs === null) this.openAlarms.set(alarm.id, alarm);
    else this.openAlarms.delete(alarm.id);
    this.#deadlines.set('escalation', String(alarm.id), alarm.closedMs === null ? alarm.escalation.dueMs : null);
    into.alarm(alarm);
  }

  #dropRule(status: AlarmStatus, nowMs: number, into: BatchBuilder): void {
    const alarm = status.alarmId === null ? null : (this.openAlarms.get(status.alarmId) ?? null);
    const transition = removeRule({ status, alarm }, nowMs);
    into.status({ ...initialStatus(status.ruleId), unknownWhy: 'the rule is no longer in the fleet' });
    if (transition?.alarm == null) return;
    this.#setAlarm(transition.alarm, into);
    into.journal.push({
      atMs: nowMs, kind: 'alarm', siteId: transition.alarm.siteId, tankId: transition.alarm.tankId, alarmId: transition.alarm.id, by: 'tankbell',
      text: transitionText('rule-removed', transition.alarm.title, 'tankbell', transition.alarm, null),
      detail: { ruleId: status.ruleId, from: transition.from, to: transition.to, reason: transition.reason },
    });
  }
}

function holdEvent(command: Exclude<Command, { type: 'note' | 'acknowledge' }>, nowMs: number): LifeEvent {
  switch (command.type) {
    case 'shelve':
      return { type: 'hold', hold: { kind: 'shelved', by: command.by, why: command.why, sinceMs: nowMs, untilMs: command.untilMs } };
    case 'take-out-of-service':
      return { type: 'hold', hold: { kind: 'out-of-service', by: command.by, why: command.why, sinceMs: nowMs, untilMs: null } };
    case 'unshelve':
      return { type: 'release', by: command.by, reason: 'unshelved' };
    case 'return-to-service':
      return { type: 'release', by: command.by, reason: 'returned-to-service' };
  }
}
