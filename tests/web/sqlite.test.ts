/** The pages over the real store: what the fakes promise is what SQLite does. */
import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { expect, onTestFinished, test } from 'vitest';
import { MINUTE } from '../../src/domain/duration.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { form, makeSite, START_MS } from './site.ts';

async function realStore() {
  const folder = await mkdtemp(join(tmpdir(), 'tankbell-web-'));
  const store = await openSqliteStore(join(folder, 'test.sqlite'));
  onTestFinished(async () => {
    await store.close();
    await rm(folder, { recursive: true });
  });
  return store;
}

test('login, charts, alarms, journal and refusals out of SQLite', async () => {
  const store = await realStore();
  const { world, logIn, app, clock } = await makeSite({ options: () => ({ store }) });
  expect((await app.inject('/login')).body).toContain('There is no account yet');
  const [account] = world.store.accountRows;
  if (account === undefined) throw new Error('no account');
  await store.putAccount(account);

  const series = await store.seriesFor(['lobby/display-temperature']);
  const id = series.get('lobby/display-temperature') ?? -1;
  const readings = Array.from({ length: 60 }, (_, index) => ({ series: id, atMs: START_MS - (60 - index) * MINUTE, value: 25 + index / 10, quality: index === 30 ? 1 : 0 }));
  const alarms = [...world.store.alarmRows.values()];
  const journal = Array.from({ length: 250 }, (_, index) => ({ atMs: START_MS - (250 - index) * MINUTE, kind: index % 2 === 0 ? 'note' as const : 'gap' as const, siteId: 'tower', tankId: 'lobby', alarmId: null, by: 'x', text: `entry ${index}.`, detail: {} }));
  await store.commit({ readings, ruleStates: [], statuses: [...world.store.statusRows.values()], alarms, journal, pages: [], refusals: world.store.refusalRows, aliveMs: START_MS });

  const visitor = await logIn();
  const line = (await visitor.get(`/api/points/lobby/display-temperature/series?from=${START_MS - 90 * MINUTE}&to=${START_MS}`)).json();
  expect([line.shape, line.t.length, line.suspectMs]).toEqual(['readings', 59, [START_MS - 30 * MINUTE]]);
  expect([line.mean[0], line.mean.at(-1)]).toEqual([25, 30.9]);
  const band = (await visitor.get(`/api/points/lobby/display-temperature/series?from=${START_MS - 60 * MINUTE}&to=${START_MS}&buckets=6`)).json();
  expect([band.shape, band.min, band.max]).toEqual(['buckets', [25, 26, 27, 28.1, 29, 30], [25.9, 26.9, 27.9, 28.9, 29.9, 30.9]]);

  expect((await visitor.get('/alarms/6')).body).toContain('Top-off reservoir running low');
  expect((await visitor.get('/api/alarms?open=false')).json().alarms.map((alarm: { id: number }) => alarm.id)).toEqual([6]);
  expect((await visitor.get('/sources')).body).toContain('{&quot;t&quot;:&lt;b>25.1&lt;/b>}');

  // The journal, page by page, newest first, until there is no more.
  const pages: string[][] = [];
  let url: string | undefined = '/journal?tank=lobby&kind=note&contains=ENTRY';
  while (url !== undefined && pages.length < 9) {
    const { body }: { body: string } = await visitor.get(url);
    pages.push([...body.matchAll(/entry (\d+)\./g)].map(([, n]) => n ?? ''));
    url = body.match(/href="([^"]*older=[^"]*)"/)?.[1]?.replaceAll('&amp;', '&');
  }
  expect(pages.map((page) => page.length)).toEqual([100, 25]);
  expect(pages.flat()).toEqual(Array.from({ length: 125 }, (_, index) => String(248 - 2 * index)));
  // An hour and a half before 02:30 in Denver: entry 160 stood there, and is not included.
  const before = await visitor.get('/journal?before=2026-11-25T01:00&kind=note&kind=gap');
  expect(before.body.match(/entry (\d+)\./)?.[1]).toBe('159');
  expect((await visitor.get('/journal?before=yesterday')).body).toContain('Write the date as 2026-11-25');

  clock.advance(31 * 86_400_000);
  expect((await visitor.get('/')).statusCode).toBe(302);
});

test('an account that is removed is logged out', async () => {
  const store = await realStore();
  const { world, app } = await makeSite({ options: () => ({ store }) });
  const [account] = world.store.accountRows;
  if (account === undefined) throw new Error('no account');
  await store.putAccount(account);
  const login = await app.inject({ method: 'POST', url: '/login', ...form({ name: 'pat', password: 'correct horse tank' }) });
  const cookies = Object.fromEntries(login.cookies.map(({ name, value }) => [name, value]));
  expect((await app.inject({ url: '/', cookies })).statusCode).toBe(200);
  await store.removeAccount('pat');
  expect((await app.inject({ url: '/', cookies })).statusCode).toBe(302);
});
