/** Nothing is readable, and nothing can be done, without login. */
import { expect, test } from 'vitest';
import { form, makeSite } from './site.ts';
import { GOOD_TOKEN } from './world.ts';

/** What may be reached without login, and nothing else. */
const open = new Set(['/login', '/logout', '/health', '/assets/:name', '/favicon.ico', '/acknowledge/:token']);

const example = (url: string): string => url.replace(':owner', 'lobby').replace(':point', 'conductivity').replace(':name', 'x').replace(':token', GOOD_TOKEN).replace(':site', 'tower')
  .replace(':id', url.startsWith('/tanks') || url.startsWith('/api/tanks') ? 'lobby' : '1');

test('every route but the open ones turns away whoever is not logged in', async () => {
  const { app, routes, world } = await makeSite();
  expect(routes.length).toBeGreaterThan(30);
  expect([...open].filter((url) => !routes.some((route) => route.url === url))).toEqual([]);
  const before = JSON.stringify([...world.store.alarmRows]);
  for (const { method, url } of routes.filter((route) => !open.has(route.url))) {
    const answer = await app.inject({ method: method as 'GET', url: example(url), ...(method === 'POST' ? form({ why: 'x', hours: '1', ruleId: 'x' }) : {}) });
    const where = `${method} ${url}`;
    if (url.startsWith('/api/')) {
      expect([where, answer.statusCode]).toEqual([where, 401]);
      if (method !== 'HEAD') expect(answer.json()).toEqual({ message: expect.stringContaining(url === '/api/sites/:site/readings' ? 'Send the token of the site' : 'Log in') });
    } else {
      expect([where, answer.statusCode]).toEqual([where, 302]);
      expect(answer.headers.location).toMatch(/^\/login/);
      expect(answer.body).toBe('');
    }
  }
  expect(world.engine.commands).toEqual([]);
  expect(JSON.stringify([...world.store.alarmRows])).toBe(before);
});

test('an address that does not exist says nothing to strangers either', async () => {
  const { app } = await makeSite();
  expect((await app.inject('/no-such-page')).statusCode).toBe(302);
  expect((await app.inject('/api/no-such-thing')).statusCode).toBe(401);
});

test('health tells strangers whether, and only those logged in why', async () => {
  const { app, world, logIn } = await makeSite();
  expect((await app.inject('/health')).json()).toEqual({ ok: true });
  world.engine.trouble = 'disk full';
  const sick = await app.inject('/health');
  expect([sick.statusCode, sick.json()]).toEqual([503, { ok: false }]);
  expect((await (await logIn()).get('/health')).json()).toEqual({ ok: false, facts: { queue: 0 } });
});

test('a session ends by logging out, and by itself after 30 days', async () => {
  const { app, clock, logIn, world } = await makeSite();
  const first = await logIn();
  expect((await first.get('/')).statusCode).toBe(200);
  await first.post('/logout');
  expect((await first.get('/')).statusCode).toBe(302);
  const second = await logIn();
  clock.advance(30 * 86_400_000 - 1000);
  expect((await second.get('/')).statusCode).toBe(200);
  clock.advance(2000);
  expect((await second.get('/')).statusCode).toBe(302);
  // Only digests are stored: none of them is a token that would log anybody in.
  for (const stored of world.store.sessions.keys()) {
    expect(stored).toMatch(/^[0-9a-f]{64}$/);
    expect((await app.inject({ url: '/', cookies: { 'tankbell-session': stored } })).statusCode).toBe(302);
  }
});

test('every answer carries the security headers, and a page has no inline script or style', async () => {
  const { logIn } = await makeSite();
  const visitor = await logIn();
  for (const url of ['/', '/tanks/lobby', '/alarms/1', '/journal', '/sources', '/import', '/nowhere']) {
    const answer = await visitor.get(url);
    expect(answer.headers['content-security-policy']).toContain("default-src 'none'; script-src 'self'; style-src 'self'");
    expect(answer.headers['x-content-type-options']).toBe('nosniff');
    expect(answer.headers['cache-control']).toBe('no-store');
    expect(answer.body).not.toMatch(/<script(?![^>]* src="\/assets\/)|<style|\sstyle=|\son\w+="|https?:\/\//);
  }
});

test('the cookie cannot be read by scripts, and travels only encrypted when the service is reached so', async () => {
  const plain = await makeSite();
  const answer = await plain.app.inject({ method: 'POST', url: '/login', ...form({ name: 'pat', password: 'correct horse tank' }) });
  expect(answer.cookies[0]).toMatchObject({ httpOnly: true, sameSite: 'Lax', path: '/', maxAge: 2_592_000 });
  expect(answer.cookies[0]).not.toHaveProperty('secure');
  const secure = await makeSite({ options: () => ({ publicUrl: 'https://tanks.example.invalid' }) });
  const encrypted = await secure.app.inject({ method: 'POST', url: '/login', ...form({ name: 'pat', password: 'correct horse tank' }) });
  expect(encrypted.cookies[0]).toMatchObject({ secure: true });
});
