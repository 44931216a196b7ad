import { expect, test } from 'vitest';
import { endpoints } from '../../src/web/api/endpoints.ts';
import { errorShape } from '../../src/web/api/shapes.ts';
import { START_MS, makeSite } from './site.ts';

const series = '/api/points/lobby/conductivity/series';

const requests: readonly (readonly ['GET' | 'POST', string, string, object?])[] = [
  ['GET', '/api/board', '/api/board'],
  ['GET', '/api/tanks/:id', '/api/tanks/lobby'],
  ['GET', '/api/points/:owner/:point/series', `${series}?from=${START_MS - 3_600_000}&to=${START_MS}`],
  ['GET', '/api/alarms', '/api/alarms?tank=lobby&open=true&limit=5'],
  ['GET', '/api/alarms/:id', '/api/alarms/1'],
  ['POST', '/api/alarms/:id/acknowledge', '/api/alarms/1/acknowledge'],
  ['POST', '/api/alarms/:id/shelve', '/api/alarms/2/shelve', { why: 'on order', hours: 2 }],
  ['POST', '/api/alarms/:id/unshelve', '/api/alarms/2/unshelve'],
  ['POST', '/api/alarms/:id/out-of-service', '/api/alarms/2/out-of-service', { why: 'on order' }],
  ['POST', '/api/alarms/:id/return-to-service', '/api/alarms/2/return-to-service'],
  ['GET', '/api/journal', '/api/journal?alarm=1&kind=page'],
];

test('every endpoint answers as its schema says', async () => {
  expect(requests.map(([method, path]) => `${method} ${path}`)).toEqual(endpoints.map((one) => `${one.method} ${one.path}`));
  const { logIn, world } = await makeSite();
  const visitor = await logIn();
  for (const [index, [method, , url, payload]] of requests.entries()) {
    const answer = await visitor.inject({ method, url, ...(payload === undefined ? {} : { payload }) });
    expect([url, answer.statusCode, answer.headers['content-type']]).toEqual([url, 200, 'application/json; charset=utf-8']);
    const parsed = endpoints[index]?.answer.safeParse(answer.json());
    expect([url, parsed?.error?.issues ?? []]).toEqual([url, []]);
  }
  expect(world.engine.commands.map((command) => command.type)).toEqual(['acknowledge', 'shelve', 'unshelve', 'take-out-of-service', 'return-to-service']);
  expect(world.engine.commands[1]).toMatchObject({ untilMs: START_MS + 2 * 3_600_000, by: 'Ada Example' });
});

test('the answers hold what they should, not merely the right shape', async () => {
  const visitor = await (await makeSite()).logIn();
  const board = (await visitor.get('/api/board')).json();
  expect(board.tanks[0]).toMatchObject({ tankId: 'lobby', standing: 'needs-help', alarmId: 1, priority: 'urgent', otherAlarmIds: [2] });
  expect((await visitor.get('/api/alarms?tank=lobby&open=true')).json().alarms.map((alarm: { id: number }) => alarm.id)).toEqual([2, 1]);
  expect((await visitor.get('/api/alarms?open=false')).json().alarms.map((alarm: { id: number }) => alarm.id)).toEqual([6]);
  expect((await visitor.get('/api/journal?alarm=1&kind=page')).json().entries).toMatchObject([{ text: 'Ada Example is called.' }]);
  const day = (await visitor.get(`${series}?from=${START_MS - 12 * 3_600_000}&to=${START_MS}&buckets=720`)).json();
  expect(day.mean.filter((value: number | null) => value === null)).toHaveLength(1);
});

test.each([
  [`${series}?from=2&to=1`, 'to: must be after `from`'],
  [`${series}?from=x&to=1`, 'from: '],
  [`${series}?to=1`, 'from: '],
  [`${series}?from=0&to=1&buckets=100000`, 'buckets: '],
  ['/api/alarms?limit=0', 'limit: '],
  ['/api/alarms?open=maybe', 'open: '],
  ['/api/journal?kind=gossip', 'kind: '],
])('%s is refused and says where', async (url, where) => {
  const answer = await (await (await makeSite()).logIn()).get(url);
  expect(answer.statusCode).toBe(400);
  expect(errorShape.parse(answer.json()).message).toContain(where);
});

test('errors are JSON with words, whatever went wrong', async () => {
  const { logIn, world } = await makeSite();
  const visitor = await logIn();
  for (const [options, status] of [
    [{ method: 'GET', url: '/api/nowhere' }, 404],
    [{ method: 'GET', url: '/api/points/lobby/no-such/series?from=0&to=1' }, 404],
    [{ method: 'POST', url: '/api/alarms/1/shelve', payload: { why: '', hours: 1 } }, 400],
    [{ method: 'POST', url: '/api/alarms/1/shelve', payload: { why: 'x', hours: 'long' } }, 400],
    [{ method: 'POST', url: '/api/alarms/1/shelve', payload: '{broken', headers: { 'content-type': 'application/json' } }, 400],
    [{ method: 'POST', url: '/api/alarms/6/acknowledge' }, 409],
  ] as const) {
    const answer = await visitor.inject(options);
    expect([options.url, answer.statusCode]).toEqual([options.url, status]);
    expect(errorShape.parse(answer.json()).message.length).toBeGreaterThan(5);
  }
  expect(world.engine.commands.filter((command) => command.type === 'shelve')).toEqual([]);
});

test('a fault inside is not told to the outside', async () => {
  const { logIn, world } = await makeSite();
  const visitor = await logIn();
  world.store.alarms = async () => {
    throw new Error('secret path /var/lib/x');
  };
  for (const url of ['/api/alarms', '/alarms']) {
    const answer = await visitor.get(url);
    expect(answer.statusCode).toBe(500);
    expect(answer.body).not.toContain('secret path');
  }
});

test('the OpenAPI document names every route of the API, and no others', async () => {
  const { logIn, routes } = await makeSite();
  const document = (await (await logIn()).get('/api/openapi.json')).json();
  expect(document.openapi).toBe('3.1.0');
  const documented = Object.entries<object>(document.paths).flatMap(([path, methods]) => Object.keys(methods).map((method) => `${method.toUpperCase()} ${path}`));
  const built = routes.filter(({ method, url }) => url.startsWith('/api/') && method !== 'HEAD' && url !== '/api/openapi.json').map(({ method, url }) => `${method} ${url.replaceAll(/:(\w+)/g, '{$1}')}`);
  expect(documented.sort()).toEqual(built.sort());
  const parameters = document.paths['/api/points/{owner}/{point}/series'].get.parameters;
  expect(parameters.map((one: { name: string; in: string; required: boolean }) => [one.name, one.in, one.required])).toEqual([
    ['owner', 'path', true], ['point', 'path', true], ['from', 'query', true], ['to', 'query', true], ['buckets', 'query', false], ['as', 'query', false], ['raw', 'query', false],
  ]);
  expect(document.paths['/api/alarms/{id}/shelve'].post.requestBody.content['application/json'].schema.required).toEqual(['why', 'hours']);
});
