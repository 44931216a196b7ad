import { expect, test } from 'vitest';
import type { Alarm } from '../../src/domain/alarm.ts';
import { MINUTE } from '../../src/domain/duration.ts';
import type { Person } from '../../src/domain/fleet.ts';
import { maxPagesPerAlarm, pageNext, resumeEscalation, returnedPages, type Rota, startEscalation, stopEscalation } from '../../src/oncall/escalation.ts';

const person = (id: string, timeZone = 'America/Denver'): Person => ({ id, name: id, email: `${id}@example.invalid`, phone: null, timeZone, dayStartMinute: 7 * 60, dayEndMinute: 21 * 60 });
const rota: Rota = {
  onCall: { steps: [{ personId: 'ana', afterMs: 0 }, { personId: 'ben', afterMs: 5 * MINUTE }], repeatAfterMs: 30 * MINUTE },
  people: new Map([['ana', person('ana')], ['ben', person('ben')]]),
};
const alarmOf = (priority: Alarm['policy']['priority']): Alarm => ({
  id: 3, ruleId: 't/limit/x', ruleKind: 'limit', tankId: 't', siteId: 's', title: 'X', policy: { priority, onDelayMs: 0, offDelayMs: 0 }, state: 'unacknowledged',
  beganMs: 0, openedMs: 0, acknowledgedMs: null, acknowledgedBy: null, returnedMs: null, closedMs: null, summary: '', evidence: [], escalation: { nextStep: 0, dueMs: null, paged: [] }, cause: null,
});

test('urgent: the first at once, the second five minutes later, then both again after half an hour', () => {
  const nowMs = Date.parse('2026-03-03T09:00:00Z'); // 02:00 in Denver
  let alarm: Alarm = { ...alarmOf('urgent'), openedMs: nowMs };
  alarm = { ...alarm, escalation: startEscalation(alarm, rota, nowMs) };
  const said: string[] = [];
  for (let i = 0; i < 4; i += 1) {
    const dueMs = alarm.escalation.dueMs ?? Number.NaN;
    const step = pageNext(alarm, rota, dueMs);
    said.push(...step.pages.map((page) => `${(dueMs - nowMs) / MINUTE} ${page.personId} ${page.reason} ${page.id}`));
    alarm = { ...alarm, escalation: step.escalation };
  }
  expect(said).toEqual(['0 ana opened 3-0-ana', '5 ben escalated 3-1-ben', '35 ana repeated 3-2-ana', '40 ben repeated 3-3-ben']);
  expect(alarm.escalation.paged).toEqual(['ana', 'ben']);
  expect(returnedPages(alarm, nowMs).map((page) => page.personId)).toEqual(['ana', 'ben']);
  expect(stopEscalation(alarm).dueMs).toBeNull();
});

test('high: at night it waits for the morning of the person, by their clocks, on the day clocks go forward too', () => {
  // Denver, 8 March 2026: 02:00 MST becomes 03:00 MDT; 07:00 MDT is 13:00Z.
  const nowMs = Date.parse('2026-03-08T08:30:00Z');
  const alarm = { ...alarmOf('high'), openedMs: nowMs };
  const { dueMs } = startEscalation(alarm, rota, nowMs);
  expect(new Date(dueMs ?? Number.NaN).toISOString()).toBe('2026-03-08T13:00:00.000Z');
  expect(pageNext(alarm, rota, dueMs ?? Number.NaN).pages[0]?.reason).toBe('morning');
});

test('high: by day it is paged at once', () => {
  const nowMs = Date.parse('2026-03-08T18:00:00Z');
  expect(startEscalation({ ...alarmOf('high'), openedMs: nowMs }, rota, nowMs).dueMs).toBe(nowMs);
});

test('low and journal page nobody', () => {
  for (const priority of ['low', 'journal'] as const) expect(startEscalation(alarmOf(priority), rota, 5).dueMs).toBeNull();
});

test('without a repeat the round ends and says so; with one it ends at the bound', () => {
  const once: Rota = { ...rota, onCall: { ...rota.onCall, repeatAfterMs: null } };
  const last = pageNext({ ...alarmOf('urgent'), escalation: { nextStep: 1, dueMs: 0, paged: ['ana'] } }, once, 0);
  expect(last).toMatchObject({ exhausted: true, escalation: { dueMs: null } });
  let alarm = { ...alarmOf('urgent'), escalation: { nextStep: 0, dueMs: 0 as number | null, paged: [] as readonly string[] } };
  let pages = 0;
  while (alarm.escalation.dueMs !== null) {
    const step = pageNext(alarm, rota, alarm.escalation.dueMs);
    pages += step.pages.length;
    alarm = { ...alarm, escalation: { ...step.escalation } };
  }
  expect(pages).toBe(maxPagesPerAlarm);
});

test('a second start of the same alarm begins a new round with the first person and page ids of its own', () => {
  const again = startEscalation({ ...alarmOf('urgent'), escalation: { nextStep: 1, dueMs: null, paged: ['ana'] } }, rota, 9);
  expect(again).toMatchObject({ nextStep: 2, dueMs: 9 });
});

test('what outlived its cause begins a round of its own, and says so once', () => {
  const due = resumeEscalation({ ...alarmOf('urgent'), escalation: { nextStep: 1, dueMs: null, paged: ['ana'] } }, rota, 500);
  expect(due).toMatchObject({ nextStep: 2, dueMs: 500, surfaced: { step: 2, atMs: 500 } });
  const first = pageNext({ ...alarmOf('urgent'), escalation: due }, rota, 500);
  expect(first.pages).toMatchObject([{ personId: 'ana', reason: 'surfaced' }]);
  const second = pageNext({ ...alarmOf('urgent'), escalation: first.escalation }, rota, first.escalation.dueMs ?? Number.NaN);
  expect(second.pages).toMatchObject([{ personId: 'ben', reason: 'repeated' }]);
  // One that pages nobody does not begin to.
  expect(resumeEscalation(alarmOf('low'), rota, 500)).toEqual({ nextStep: 0, dueMs: null, paged: [] });
});
