import { expect, test } from 'vitest';
import { ownPath } from '../../src/web/routes/login.ts';
import { form, makeSite } from './site.ts';

const attempt = (name: string, password: string, next = '/') => ({ method: 'POST' as const, url: '/login', ...form({ name, password, next }) });

test('a wrong password and an unknown name are told apart by nothing', async () => {
  const { app } = await makeSite();
  const wrong = await app.inject(attempt('pat', 'not it'));
  const nobody = await app.inject(attempt('nobody', 'not it'));
  expect([wrong.statusCode, nobody.statusCode]).toEqual([401, 401]);
  expect(wrong.cookies).toEqual([]);
  expect(wrong.body.replace('value="pat"', 'value="X"')).toBe(nobody.body.replace('value="nobody"', 'value="X"'));
});

test('after login one is where one wanted to go, never on another host', async () => {
  const { app } = await makeSite();
  expect((await app.inject('/alarms/1?x=1')).headers.location).toBe('/login?next=%2Falarms%2F1%3Fx%3D1');
  expect((await app.inject(attempt('pat', 'correct horse tank', '/alarms/1?x=1'))).headers.location).toBe('/alarms/1?x=1');
  expect((await app.inject(attempt('pat', 'correct horse tank', '//evil.example'))).headers.location).toBe('/');
});

test.each([
  ['/tanks/lobby?range=7d', '/tanks/lobby?range=7d'], ['//evil.example', '/'], ['/\\evil.example', '/'], ['https://evil.example', '/'], ['/a\\b', '/'], ['/\r\nset-cookie: x', '/'], ['', '/'], [undefined, '/'],
])('next %j leads to %j', (next, path) => {
  expect(ownPath(next)).toBe(path);
});

test('tries per name run dry, even the right password waits, and come back with time', async () => {
  const { app, clock } = await makeSite();
  for (let n = 0; n < 8; n += 1) expect((await app.inject(attempt('pat', `guess ${n}`))).statusCode).toBe(401);
  const limited = await app.inject(attempt('PAT ', 'correct horse tank'));
  expect(limited.statusCode).toBe(429);
  expect(Number(limited.headers['retry-after'])).toBe(60);
  expect(limited.body).toContain('Try again in 1 min');
  expect((await app.inject(attempt('pat', 'correct horse tank'))).statusCode).toBe(429);
  clock.advance(60_000);
  expect((await app.inject(attempt('pat', 'correct horse tank'))).statusCode).toBe(303);
});

test('an address that tries many names runs dry as well', async () => {
  const { app } = await makeSite();
  const statuses: number[] = [];
  for (let n = 0; n < 21; n += 1) statuses.push((await app.inject(attempt(`name-${n}`, 'x'))).statusCode);
  expect(statuses.filter((status) => status === 401)).toHaveLength(20);
  expect(statuses.at(-1)).toBe(429);
});

test('logging in is journaled, the password nowhere', async () => {
  const { app, world } = await makeSite();
  await app.inject(attempt('pat', 'correct horse tank'));
  expect(world.store.journalRows.at(-1)).toMatchObject({ kind: 'user', by: 'pat', text: 'pat logged in.' });
  expect(JSON.stringify(world.store.journalRows)).not.toContain('correct horse');
});
