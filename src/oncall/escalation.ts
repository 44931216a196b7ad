/**
 * Who is paged about an alarm, and when the next one is. Pure: alarm and rota in, pages and the next deadline out.
 *
 * `urgent` goes to the first person at once, at any hour, and on to the next while nobody acknowledges. `high` does the same but
 * each person only within the hours of their day; `low` and `journal` page nobody.
 */
import type { Alarm, Escalation } from '../domain/alarm.ts';
import type { OnCall, Person } from '../domain/fleet.ts';
import { minuteOfDay, nextAt } from '../domain/local-time.ts';
import type { Page, PageReason } from '../domain/page.ts';

export interface Rota {
  readonly onCall: OnCall;
  readonly people: ReadonlyMap<string, Person>;
}

export interface EscalationStep {
  readonly escalation: Escalation;
  readonly pages: readonly Page[];
  /** Said in the journal when nobody is left to page. */
  readonly exhausted: boolean;
}

/** However long nobody answers: a bound on the pages of one alarm. */
export const maxPagesPerAlarm = 60;

/** The alarm asks for somebody (again): the first page is due now, or when the first person's day begins. */
export function startEscalation(alarm: Alarm, rota: Rota, nowMs: number): Escalation {
  const pages = alarm.policy.priority === 'urgent' || alarm.policy.priority === 'high';
  if (!pages || rota.onCall.steps.length === 0) return { ...alarm.escalation, dueMs: null };
  const steps = rota.onCall.steps.length;
  // A second start begins a new round with the first person, and a page id of its own.
  const nextStep = Math.ceil(alarm.escalation.nextStep / steps) * steps;
  return { ...alarm.escalation, nextStep, dueMs: notBeforeDay(alarm, rota, nextStep, nowMs) };
}

/** The alarm has outlived its cause and asks for somebody from `fromMs` on. */
export function resumeEscalation(alarm: Alarm, rota: Rota, fromMs: number): Escalation {
  const started = startEscalation(alarm, rota, fromMs);
  return started.dueMs === null ? started : { ...started, surfaced: { step: started.nextStep, atMs: fromMs } };
}

/** The deadline has passed: page the person whose turn it is and set the next deadline. */
export function pageNext(alarm: Alarm, rota: Rota, nowMs: number): EscalationStep {
  const { steps, repeatAfterMs } = rota.onCall;
  const turn = alarm.escalation.nextStep;
  const step = steps[turn % steps.length];
  if (step === undefined) return { escalation: { ...alarm.escalation, dueMs: null }, pages: [], exhausted: true };

  const page: Page = { id: `${alarm.id}-${turn}-${step.personId}`, alarmId: alarm.id, personId: step.personId, reason: reasonOf(alarm, turn, steps.length, nowMs), createdMs: nowMs };
  const nextTurn = turn + 1;
  const endOfRound = nextTurn % steps.length === 0;
  const waitMs = endOfRound ? repeatAfterMs : (steps[nextTurn % steps.length]?.afterMs ?? null);
  const done = waitMs === null || nextTurn >= maxPagesPerAlarm;
  return {
    escalation: {
      ...alarm.escalation,
      nextStep: nextTurn,
      dueMs: done ? null : notBeforeDay(alarm, rota, nextTurn, nowMs + waitMs),
      paged: alarm.escalation.paged.includes(step.personId) ? alarm.escalation.paged : [...alarm.escalation.paged, step.personId],
    },
    pages: [page],
    exhausted: done,
  };
}

/** Acknowledged, held or over: nobody further is paged. */
export function stopEscalation(alarm: Alarm): Escalation {
  return alarm.escalation.dueMs === null ? alarm.escalation : { ...alarm.escalation, dueMs: null };
}

/** Whoever was rung is told that it is over, once per return. */
export function returnedPages(alarm: Alarm, nowMs: number): readonly Page[] {
  return alarm.escalation.paged.map((personId) => ({
    id: `${alarm.id}-returned-${alarm.escalation.nextStep}-${personId}`, alarmId: alarm.id, personId, reason: 'returned', createdMs: nowMs,
  }));
}

function notBeforeDay(alarm: Alarm, rota: Rota, turn: number, wantedMs: number): number {
  if (alarm.policy.priority === 'urgent') return wantedMs;
  const person = rota.people.get(rota.onCall.steps[turn % rota.onCall.steps.length]?.personId ?? '');
  if (person === undefined) return wantedMs;
  const minute = minuteOfDay(person.timeZone, wantedMs);
  const { dayStartMinute: start, dayEndMinute: end } = person;
  const isDay = start <= end ? minute >= start && minute < end : minute >= start || minute < end;
  return isDay ? wantedMs : nextAt(person.timeZone, wantedMs, start);
}

function reasonOf(alarm: Alarm, turn: number, steps: number, nowMs: number): PageReason {
  if (turn === alarm.escalation.surfaced?.step) return 'surfaced';
  if (turn >= steps) return 'repeated';
  if (turn > 0) return 'escalated';
  // Pages of priority `high` that waited for the day say so.
  return nowMs - alarm.openedMs > 60_000 ? 'morning' : 'opened';
}
