/** Acknowledge, shelve, out of service and back: from the pages and through the API. */
import { expect, test } from 'vitest';
import { HOUR } from '../../src/domain/duration.ts';
import { START_MS, makeSite } from './site.ts';

test('acknowledging from the page is done as the person of the login', async () => {
  const { world, logIn } = await makeSite();
  const visitor = await logIn();
  const answer = await visitor.post('/alarms/1/acknowledge');
  expect([answer.statusCode, answer.headers.location]).toEqual([303, '/alarms/1?done=acknowledge']);
  expect(world.engine.commands).toEqual([{ type: 'acknowledge', alarmId: 1, by: 'Ada Example', via: 'web' }]);
  expect((await visitor.get('/alarms/1?done=acknowledge')).body).toContain('<p class="done" role="status">Acknowledged.</p>');
});

test('what the engine refuses is said in its words', async () => {
  const { logIn } = await makeSite();
  const visitor = await logIn();
  await visitor.post('/alarms/1/acknowledge');
  const again = await visitor.post('/alarms/1/acknowledge');
  expect(again.statusCode).toBe(409);
  expect(again.body).toContain('Not done: Ada Example has acknowledged it already');
});

test.each([
  [{ why: 'heater on order', span: '8h' }, 8 * HOUR],
  [{ why: 'heater on order', span: 'custom', hours: '1,5' }, 1.5 * HOUR],
])('shelving with %j ends by itself', async (fields, forMs) => {
  const { world, logIn } = await makeSite();
  expect((await (await logIn()).post('/alarms/1/shelve', fields)).statusCode).toBe(303);
  expect(world.engine.commands).toEqual([{ type: 'shelve', ruleId: 'lobby/limit/display-temperature', by: 'Ada Example', why: 'heater on order', untilMs: START_MS + forMs }]);
});

test.each([
  ['shelve', { why: ' ', span: '8h' }, 'write the reason'],
  ['shelve', { why: 'x', span: 'custom', hours: '' }, 'for how many hours'],
  ['shelve', { why: 'x', span: 'custom', hours: '100000' }, 'for how many hours'],
  ['shelve', { why: 'x', span: 'for ever' }, 'for how many hours'],
  ['shelve', {}, 'write the reason'],
  ['out-of-service', { why: '' }, 'write the reason'],
])('%s with %j is refused and says what to write', async (action, fields, words) => {
  const { world, logIn } = await makeSite();
  const answer = await (await logIn()).post(`/alarms/1/${action}`, fields);
  expect(answer.statusCode).toBe(400);
  expect(answer.body).toContain(words);
  expect(world.engine.commands).toEqual([]);
});

test('out of service and back, and a shelving ended early', async () => {
  const { world, logIn } = await makeSite();
  const visitor = await logIn();
  await visitor.post('/alarms/1/out-of-service', { why: 'probe broken' });
  expect((await visitor.get('/alarms/1')).body).toContain('out of service by Ada Example since 02:30 MST: probe broken');
  await visitor.post('/alarms/1/return-to-service');
  await visitor.post('/alarms/5/unshelve');
  expect(world.engine.commands.map((command) => command.type)).toEqual(['take-out-of-service', 'return-to-service', 'unshelve']);
  expect(world.store.alarmRows.get(1)?.state).toBe('unacknowledged');
});

test('a rule without an alarm is held back from the page of its tank, and only there', async () => {
  const { world, logIn } = await makeSite();
  const visitor = await logIn();
  const fields = { ruleId: 'axolotl/limit/display-temperature', action: 'out-of-service', why: 'tank drained' };
  expect((await visitor.post('/tanks/lobby/hold', fields)).statusCode).toBe(404);
  expect((await visitor.post('/tanks/axolotl/hold', fields)).headers.location).toBe('/tanks/axolotl?done=out-of-service');
  expect(world.engine.commands).toEqual([{ type: 'take-out-of-service', ruleId: 'axolotl/limit/display-temperature', by: 'Ada Example', why: 'tank drained' }]);
  expect((await visitor.get('/tanks/axolotl')).body).toContain('Return to service');
});

test('an alarm that is not there is not there', async () => {
  const { logIn } = await makeSite();
  const visitor = await logIn();
  for (const id of ['99', 'x', '-1', '1e1', '9'.repeat(30)]) {
    expect((await visitor.get(`/alarms/${id}`)).statusCode).toBe(404);
    expect((await visitor.post(`/alarms/${id}/acknowledge`)).statusCode).toBe(404);
    expect((await visitor.get(`/api/alarms/${id}`)).statusCode).toBe(404);
  }
});

test('an alarm outlives its rule, its tank and its site in the fleet file', async () => {
  const { world, logIn } = await makeSite();
  const alarm = world.store.alarmRows.get(6);
  if (alarm === undefined) throw new Error('no alarm 6');
  world.store.alarmRows.set(6, { ...alarm, ruleId: 'gone/rule/x', tankId: 'gone', siteId: 'gone' });
  const visitor = await logIn();
  const page = await visitor.get('/alarms/6');
  expect(page.statusCode).toBe(200);
  expect(page.body).toContain('not part of the set-up any more');
  expect((await visitor.get('/alarms')).body).toContain('· gone');
});

test('an open alarm is shown with the numbers of now, and with those it opened with; a past one with its own', async () => {
  const { world, logIn } = await makeSite();
  world.engine.verdicts.set('lobby/limit/display-temperature', { state: 'breached', summary: '30.9 °C for 2 h, limit 28.0 °C', evidence: [{ label: 'Worst so far', value: 31.2, kind: 'temperature' }] });
  world.engine.verdicts.set('lobby/reservoir-empty/reservoir', { state: 'breached', summary: 'not this', evidence: [] });
  const visitor = await logIn();
  for (const url of ['/', '/tanks/lobby', '/alarms']) expect((await visitor.get(url)).body, url).toContain('30.9 °C for 2 h');
  for (const url of ['/alarms/1', '/acknowledge/good-token-of-ada']) {
    const { body } = await visitor.get(url);
    expect(body).toContain('<p class="lead">30.9 °C for 2 h, limit 28.0 °C</p>');
    expect(body).toContain('31.20 °C');
    expect(body).toContain('When it opened: 29.4 °C for 47 min, limit 28.0 °C');
  }
  const past = (await visitor.get('/alarms/6')).body;
  expect(past).toContain('reservoir at 4 %');
  expect(past).not.toContain('not this');
});

test('what a long outage left behind is acknowledged in one go: only what is over, each as its own', async () => {
  const { world, logIn } = await makeSite();
  const first = world.store.alarmRows.get(1);
  if (first === undefined) throw new Error('the test world has no alarm 1');
  for (const [id, tankId] of [[101, first.tankId], [102, first.tankId], [103, 'another']] as const) {
    world.store.alarmRows.set(id, { ...first, id, tankId, state: 'returned', returnedMs: START_MS - HOUR });
    const ruleId = `${tankId}/silent-point/p${id}`;
    world.store.statusRows.set(ruleId, { ruleId, condition: 'clear', verdict: 'clear', unknownWhy: null, lastKnown: 'clear', verdictSinceMs: 0, breach: null, dueMs: null, heldBackMs: null, base: 'returned', hold: null, alarmId: id });
  }
  const visitor = await logIn();
  expect((await visitor.get('/alarms')).body).toContain('Acknowledge the 4 that are over');
  const answer = await visitor.post('/alarms/acknowledge-returned', { tank: first.tankId });
  expect([answer.statusCode, answer.headers.location]).toEqual([303, `/alarms?tank=${first.tankId}`]);
  expect(world.engine.commands.map((command) => command.type === 'acknowledge' && command.alarmId)).toEqual([101, 102]);
});

test('an alarm that waits for the morning says who is told next, and when', async () => {
  const { world, logIn } = await makeSite();
  const first = world.store.alarmRows.get(1);
  if (first === undefined) throw new Error('the test world has no alarm 1');
  world.store.alarmRows.set(1, { ...first, escalation: { nextStep: 0, dueMs: Date.UTC(2026, 10, 25, 14), paged: [] } });
  expect((await (await logIn()).get('/alarms/1')).body).toMatch(/the next message goes to Ada Example[^:]*: 07:00/);
});
