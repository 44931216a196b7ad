/** The link in a message: what it shows, and that only the button acts. */
import { expect, test } from 'vitest';
import { form, makeSite } from './site.ts';
import { GOOD_TOKEN } from './world.ts';

const url = `/acknowledge/${GOOD_TOKEN}`;

test('reading the page never acts, however often and with whatever method readers use', async () => {
  const { app, world } = await makeSite();
  for (const method of ['GET', 'HEAD', 'GET'] as const) expect((await app.inject({ method, url: `${url}?done=1` })).statusCode).toBe(200);
  expect(world.engine.commands).toEqual([]);
  expect(world.store.alarmRows.get(1)).toMatchObject({ state: 'unacknowledged', acknowledgedBy: null });
});

test('the page says what, where, since when, what to check and whom to call, without login', async () => {
  const { app } = await makeSite();
  const answer = await app.inject(url);
  for (const text of ['Display temperature out of limits', 'Lobby reef', '29.4 °C for 47 min', 'for 47 min, since 01:43 MST', 'switch the heater off at the breaker', 'tel:+15550142', 'Key box left', 'Panel B', 'I am looking after it (Ada Example)']) {
    expect(answer.body).toContain(text);
  }
  expect(answer.headers).toMatchObject({ 'referrer-policy': 'no-referrer', 'x-robots-tag': 'noindex, nofollow', 'cache-control': 'no-store' });
  expect(answer.cookies).toEqual([]);
});

test('the button acknowledges as the person of the link, and the page says so afterwards', async () => {
  const { app, world } = await makeSite();
  // A form on a page without referrer, over plain http: no fetch metadata, and "null" for an origin.
  const pressed = await app.inject({ method: 'POST', url, ...form({}, { origin: 'null' }) });
  expect([pressed.statusCode, pressed.headers.location]).toEqual([303, `${url}?done=1`]);
  expect(world.engine.commands).toEqual([{ type: 'acknowledge', alarmId: 1, by: 'Ada Example', via: 'link' }]);
  const after = await app.inject(`${url}?done=1`);
  expect(after.body).toContain('Thank you, Ada Example');
  expect(after.body).toContain('Acknowledged by Ada Example, 02:30 MST');
  expect(after.body).not.toContain('<button class="main">');
});

test('whoever comes second is told who was first', async () => {
  const { app, world } = await makeSite();
  await world.engine.command({ type: 'acknowledge', alarmId: 1, by: 'Bo Sample', via: 'web' });
  const shown = await app.inject(url);
  expect(shown.body).toContain('Acknowledged by Bo Sample');
  expect(shown.body).not.toContain('<button class="main">');
  const late = await app.inject({ method: 'POST', url, ...form({}) });
  expect(late.statusCode).toBe(409);
  expect(late.body).toContain('Bo Sample has acknowledged it already');
  // "done" in the address proves nothing: no thanks for what somebody else did.
  expect((await app.inject(`${url}?done=1`)).body).not.toContain('Thank you');
});

test.each([['old-token', 410, 'expired'], ['forged', 404, 'not valid'], ['gone-token', 410, 'not part of the set-up']])('%s: %i, explained', async (token, status, words) => {
  const { app, world } = await makeSite();
  for (const method of ['GET', 'POST'] as const) {
    const answer = await app.inject({ method, url: `/acknowledge/${token}`, ...(method === 'POST' ? form({}) : {}) });
    expect(answer.statusCode).toBe(status);
    expect(answer.body).toContain(words);
    expect(answer.body).not.toContain('Lobby reef');
  }
  expect(world.engine.commands).toEqual([]);
});

test('the link opens nothing but its own alarm', async () => {
  const { app } = await makeSite();
  await app.inject(url);
  for (const other of ['/', '/alarms/1', '/alarms/2', '/tanks/lobby', '/api/alarms/1', '/api/points/lobby/conductivity/series?from=0&to=1']) {
    expect([302, 401]).toContain((await app.inject(other)).statusCode);
  }
});
