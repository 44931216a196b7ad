/** Fetch metadata and the Origin header as browsers send them (Fetch Standard, W3C Fetch Metadata Request Headers). */
import { expect, test } from 'vitest';
import { foreignOrigin } from '../../src/web/same-origin.ts';
import { form, makeSite } from './site.ts';

const facts = { secFetchSite: undefined, origin: undefined, host: 'tanks.lan:8080', publicUrl: 'https://tanks.example.invalid', nullOriginAllowed: false };

test.each([
  ['a program without either header', {}, true],
  ['our own page by its public address', { origin: 'https://tanks.example.invalid', secFetchSite: 'same-origin' }, true],
  ['our own page by its address in the house, without fetch metadata', { origin: 'http://tanks.lan:8080' }, true],
  ['another site', { origin: 'https://evil.example', secFetchSite: 'cross-site' }, false],
  ['another site in an old browser', { origin: 'https://evil.example' }, false],
  ['a neighbour on the same domain', { origin: 'https://other.example.invalid', secFetchSite: 'same-site' }, false],
  ['another port of the same machine', { origin: 'http://tanks.lan:9999' }, false],
  ['a page that hides where it is', { origin: 'null' }, false],
  ['a page that hides where it is, cross-site', { origin: 'null', secFetchSite: 'cross-site', nullOriginAllowed: true }, false],
  ['a page that hides where it is, where the address is the permission', { origin: 'null', nullOriginAllowed: true }, true],
])('%s', (_name, sent, allowed) => {
  expect(foreignOrigin({ ...facts, ...sent }) === null).toBe(allowed);
});

test('no form of another site can act through somebody’s session', async () => {
  const { world, logIn, routes } = await makeSite();
  const visitor = await logIn();
  const headers = { origin: 'https://evil.example', 'sec-fetch-site': 'cross-site' };
  for (const { url } of routes.filter((route) => route.method === 'POST')) {
    const path = url.replace(':token', 'good-token-of-ada').replace(':id', url.startsWith('/tanks') ? 'lobby' : '1');
    const answer = await visitor.inject({ method: 'POST', url: path, ...form({ why: 'x', span: '1h', ruleId: 'lobby/limit/display-temperature', action: 'unshelve' }, headers) });
    expect([path, answer.statusCode]).toEqual([path, 403]);
  }
  expect(world.engine.commands).toEqual([]);
  expect((await visitor.get('/')).statusCode).toBe(200);
});
