/** One cause, one page: what the mail about a cause says of what it explains, and the mail about what outlived its cause. */
import { afterEach, expect, it } from 'vitest';
import type { Alarm } from '../../src/domain/alarm.ts';
import { MINUTE } from '../../src/domain/duration.ts';
import type { Page } from '../../src/domain/page.ts';
import { makeLogger } from '../../src/log.ts';
import { makeAckLinks } from '../../src/notify/ack-link.ts';
import { gather } from '../../src/notify/gather.ts';
import { composePage } from '../../src/notify/message.ts';
import type { Store } from '../../src/store/contract.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { alarm, facts, fleet, inOutbox, nowMs, page, rule } from './install.ts';

let store: Store;
afterEach(() => store.close());

const behind = (id: number, title: string, changes: Partial<Alarm> = {}): Alarm => ({
  ...alarm, id, ruleId: `lobby-reef/${id}`, title, state: 'suppressed', summary: `${title.toLowerCase()}, in numbers`, cause: { alarmId: alarm.id, ruleId: alarm.ruleId, title: alarm.title, quiet: true },
  escalation: { nextStep: 0, dueMs: null, paged: [] }, ...changes,
});

async function mailAbout(one: Page, alarms: readonly Alarm[]): Promise<string> {
  store = await openSqliteStore(':memory:');
  await store.commit({ readings: [], ruleStates: [], statuses: [], alarms, journal: [], pages: [one], refusals: [], aliveMs: nowMs });
  const gathered = await gather(inOutbox(one), {
    history: store, fleet: () => fleet, rules: () => [rule], live: { offline: () => null, atPresent: (point) => point }, links: makeAckLinks(new Uint8Array(32).fill(5), 'https://bell.example.invalid'),
    log: makeLogger('silent', () => nowMs), notice: null, senderStartedMs: nowMs - MINUTE,
  }, nowMs);
  if (gathered.facts === null) throw new Error('nobody to write to');
  return composePage(gathered.facts).text;
}

it('lists what the alarm explains, also by way of what it explains, with the tank where it is another', async () => {
  const text = await mailAbout(page, [
    alarm,
    behind(13, 'Display temperature out of limits', { beganMs: nowMs - 2 * MINUTE }),
    behind(14, 'Bar pump stopped', { tankId: 'bar', beganMs: nowMs - 3 * MINUTE }),
    behind(15, 'Salinity drifts', { cause: { alarmId: 13, ruleId: 'lobby-reef/13', title: 'Display temperature out of limits', quiet: true }, beganMs: nowMs - MINUTE }),
    behind(16, 'Another matter', { cause: null, state: 'unacknowledged' }),
    behind(17, 'Over already', { closedMs: nowMs, returnedMs: nowMs, state: 'normal' }),
    behind(18, 'At another site', { siteId: 'elsewhere' }),
  ]);
  expect(text).toContain([
    'EXPLAINS ALSO', '- bar: Bar pump stopped: bar pump stopped, in numbers', '- Display temperature out of limits: display temperature out of limits, in numbers', '- Salinity drifts: salinity drifts, in numbers',
    '- Nobody is paged for these while this alarm lasts. What outlives it is paged then.', '',
  ].join('\n'));
});

it('is not a list without end', async () => {
  const text = await mailAbout(page, [alarm, ...Array.from({ length: 9 }, (_, index) => behind(20 + index, `Point ${index} silent`, { beganMs: nowMs - (9 - index) * MINUTE }))]);
  expect(text).toContain('EXPLAINS ALSO\n- Point 0 silent, Point 1 silent, Point 2 silent, Point 3 silent, Point 4 silent, Point 5 silent and 3 more\n- Nobody is paged');
  // What to do stands before it.
  expect(text.indexOf('CHECK FIRST')).toBeLessThan(text.indexOf('EXPLAINS ALSO'));
});

it('says with the all-clear what is not over yet', async () => {
  const over: Alarm = { ...alarm, state: 'returned', returnedMs: nowMs };
  const text = await mailAbout({ ...page, id: '12-returned-1-ana', reason: 'returned' }, [over, behind(13, 'Display temperature out of limits')]);
  expect(text).toContain('NOT OVER YET\n- Display temperature out of limits: display temperature out of limits, in numbers\n- What stays so for some minutes more will be paged by itself.\n');
});

it('says why somebody is paged for what outlived its cause', () => {
  const surfaced = composePage({ ...facts, client: null, page: { ...page, reason: 'surfaced' } });
  expect(surfaced.subject).toBe('URGENT still, its cause is over, Lobby reef: Heater 1 stuck on, 28.6 °C');
  expect(surfaced.text).toContain('It came with another alarm that explained it. That one is over, or was put aside; this is still true, so you are paged for it now.');
});

it('counts from when it surfaced how long nobody has answered, not from when it was suppressed', () => {
  const escalated = { ...facts, client: null, page: { ...page, reason: 'escalated' as const }, alarm: { ...alarm, openedMs: nowMs - 90 * MINUTE, escalation: { ...alarm.escalation, surfaced: { step: 0, atMs: nowMs - 5 * MINUTE } } } };
  expect(composePage(escalated).subject).toMatch(/^URGENT unanswered 5 min, /);
  expect(composePage(escalated).text).toContain('nobody has acknowledged it in 5 min');
});

it('names the cause of what rings all the same, because it is more urgent', () => {
  const text = composePage({ ...facts, alarm: { ...alarm, cause: { alarmId: 3, ruleId: 'x', title: 'Heater 2 weak', quiet: false } } }).text;
  expect(text).toContain('Another alarm explains it: Heater 2 weak. This one is more urgent, so you are paged for it all the same.');
});
