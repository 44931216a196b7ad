/** Readings over HTTP: with the token of the site, into that site only, answered after the commit, and every refusal with its reason. */
import { expect, test } from 'vitest';
import { z } from 'zod';
import { type PayloadFormat, defineFormat } from '../../adapters/contract.ts';
import type { Delivery } from '../../src/domain/delivery.ts';
import { takenShape } from '../../src/web/routes/readings.ts';
import { START_MS, makeSite } from './site.ts';

const TOKEN = 'token-of-the-tower-0123';
const tokens: Readonly<Record<string, string>> = { tower: TOKEN, clinic: 'token-of-the-clinic-4567' };

const makePost = async (formats?: ReadonlyMap<string, PayloadFormat>) => {
  const made = await makeSite({ options: () => ({ siteToken: (id) => tokens[id] ?? null, ...(formats === undefined ? {} : { formats }) }) });
  const post = (payload: string | Buffer, { type = 'application/json', site = 'tower', token = TOKEN, query = '', headers = {} }: { type?: string; site?: string; token?: string; query?: string; headers?: Record<string, string> } = {}) =>
    made.app.inject({ method: 'POST', url: `/api/sites/${site}/readings${query}`, payload, headers: { 'content-type': type, authorization: `Bearer ${token}`, ...headers } });
  return { ...made, post };
};

const json = (value: unknown): string => JSON.stringify(value);

test('takes a list, an object with a list, or one reading; times as RFC 3339, ms, or the time of arrival', async () => {
  const { post, world } = await makePost();
  const first = await post(json({ readings: [{ point: 'lobby/display-temperature', at: '2026-11-25T09:29:00Z', value: 78.8, unit: '°F' }, { point: 'cafe/reservoir-fill', at: START_MS - 30_000, value: 50 }] }));
  expect([first.statusCode, takenShape.parse(first.json())]).toEqual([200, { taken: 2, refused: [] }]);
  expect((await post(json([{ point: 'lobby/return-pump', value: 'on' }]))).json()).toEqual({ taken: 1, refused: [] });
  expect((await post(json({ point: 'lobby/heater-power', value: '297 W', at: null }))).json()).toEqual({ taken: 1, refused: [] });
  expect(world.engine.deliveries.flatMap(({ samples }) => samples)).toEqual([
    { pointId: 'lobby/display-temperature', atMs: Date.UTC(2026, 10, 25, 9, 29), value: 78.8, unit: '°F' },
    { pointId: 'cafe/reservoir-fill', atMs: START_MS - 30_000, value: 50, unit: null },
    { pointId: 'lobby/return-pump', atMs: null, value: 'on', unit: null },
    { pointId: 'lobby/heater-power', atMs: null, value: 297, unit: 'W' },
  ]);
  expect(world.engine.deliveries.map(({ arrivedMs }) => arrivedMs)).toEqual([START_MS, START_MS, START_MS]);
});

test.each([
  ['application/json', json([2, 0, 1].map((minute) => ({ point: 'lobby/display-temperature', at: START_MS - minute * 60_000, value: 25 + minute })))],
  ['text/csv', `time,lobby/display-temperature\n${[2, 0, 1].map((minute) => `${new Date(START_MS - minute * 60_000).toISOString()},${25 + minute}`).join('\n')}\n`],
])('is judged in the order in which it happened, whatever the order in which it is listed: %s', async (type, body) => {
  const { post, world } = await makePost();
  expect((await post(body, { type })).json()).toEqual({ taken: 3, refused: [] });
  expect(world.engine.deliveries.flatMap(({ samples }) => samples.map(({ value }) => value))).toEqual([27, 26, 25]);
});

test('a bad reading takes no other with it, and each is told with its position', async () => {
  const { post, world } = await makePost();
  const answer = await post(json([
    { point: 'lobby/display-temperature', value: 25 }, { point: 'lobby/no-such', value: 1 }, { point: 'ward/display-temperature', value: 25 }, { point: 'lobby/display-temperature', value: 'warm' },
    { point: 'lobby/display-temperature', value: 25, at: 'yesterday' }, { point: 'lobby/display-temperature', value: 25, at: 1_764_063_000 }, { point: 'lobby/display-temperature', value: 25, unit: 'W' },
    { point: 'lobby/display-temperature' }, 'nonsense', { point: 'lobby/display-temperature', value: true },
  ]));
  expect(answer.statusCode).toBe(200);
  expect(answer.json()).toEqual({
    taken: 1,
    refused: [
      [1, '"lobby/no-such" is no point of tower; there is lobby/display-temperature'], [2, '"ward/display-temperature" is no point of tower'], [3, '"warm" is no number'], [4, '"yesterday" is no RFC 3339 time'],
      [5, 'it looks like s'], [6, 'unit "W" does not fit'], [7, 'value: '], [8, 'expected object'], [9, 'true is no number'],
    ].map(([index, reason]) => ({ index, line: null, reason: expect.stringContaining(String(reason)) })),
  });
  // They are seen on the Sources page as well.
  expect(world.engine.deliveries[0]?.refusals[0]).toMatchObject({ source: 'HTTP tower', reason: expect.stringContaining('no point of tower'), excerpt: '{"point":"lobby/no-such","value":1}' });
  const none = await post(json([{ point: 'lobby/no-such', value: 1 }]));
  expect([none.statusCode, none.json().taken]).toEqual([422, 0]);
  expect((await post('[]')).json()).toEqual({ taken: 0, refused: [] });
});

test('is answered after the commit, not before', async () => {
  const { post, world } = await makePost();
  const held: Delivery[] = [];
  world.engine.deliver = (delivery) => {
    held.push(delivery);
    return true;
  };
  let answered = false;
  const answer = post(json({ point: 'lobby/display-temperature', value: 25 })).then((one) => {
    answered = true;
    return one;
  });
  await expect.poll(() => held.length).toBe(1);
  await new Promise((resolve) => setImmediate(resolve));
  expect(answered).toBe(false);
  held[0]?.committed();
  expect((await answer).statusCode).toBe(200);
});

test('when the queue is full, or too many wait, nothing is taken and the device is told when to come back', async () => {
  const { post, world } = await makePost();
  world.engine.full = true;
  const full = await post(json({ point: 'lobby/display-temperature', value: 25 }));
  expect([full.statusCode, full.headers['retry-after'], full.json().message]).toEqual([503, '5', expect.stringContaining('Nothing was taken')]);
  world.engine.full = false;
  const held: Delivery[] = [];
  world.engine.deliver = (delivery) => {
    held.push(delivery);
    return true;
  };
  const waiting = Array.from({ length: 32 }, () => post(json({ point: 'lobby/display-temperature', value: 25 })));
  await expect.poll(() => held.length).toBe(32);
  expect((await post(json({ point: 'lobby/display-temperature', value: 25 }))).statusCode).toBe(503);
  for (const one of held) one.committed();
  expect((await Promise.all(waiting)).map(({ statusCode }) => statusCode)).toEqual(Array.from({ length: 32 }, () => 200));
});

test('CSV, long and wide, in the zone of the site or as the query says', async () => {
  const { post, world } = await makePost();
  const wide = await post('time,lobby/display-temperature (°F),cafe/reservoir-fill\n2026-11-25 02:00,78.8,50\n2026-11-25 02:01,oops,n/a\n', { type: 'text/csv; charset=utf-8' });
  expect(wide.json()).toEqual({ taken: 2, refused: [{ index: null, line: 3, reason: expect.stringContaining('"oops" is no number') }] });
  expect(world.engine.deliveries.at(-1)?.samples).toEqual([
    { pointId: 'lobby/display-temperature', atMs: Date.UTC(2026, 10, 25, 9), value: 78.8, unit: '°F' }, { pointId: 'cafe/reservoir-fill', atMs: Date.UTC(2026, 10, 25, 9), value: 50, unit: null },
  ]);
  const long = await post('time;series;value\n25/11/2026 09:00;display-temperature;25,4\n25/11/2026 09:00;nothing;1\n', { type: 'text/csv', query: '?tank=lobby&dateOrder=dmy&decimalComma=true&timeZone=UTC' });
  expect(long.json()).toEqual({ taken: 1, refused: [{ index: null, line: 3, reason: expect.stringContaining('"nothing" is no point of tower') }] });
  const unsaid = await post('time,lobby/display-temperature\n03/04/2026 12:00,1\n', { type: 'text/csv' });
  expect([unsaid.statusCode, unsaid.json().message]).toEqual([400, expect.stringMatching(/^line 2: .*set dateOrder/)]);
  expect((await post('time,lobby/display-temperature\n', { type: 'text/csv', query: '?dateOrder=sideways' })).statusCode).toBe(400);
});

test('a payload format that is known by its media type plugs in by itself', async () => {
  const formats = new Map([['senml', defineFormat({
    format: 'senml', looksLike: 'one name and one value', options: z.object({ name: z.string() }),
    prepare: (fields) => (bytes) => {
      const [name = '', value = ''] = new TextDecoder().decode(bytes).split('=');
      const field = fields.find((one) => one.options.name === name);
      return field === undefined ? { samples: [], refusals: [{ source: 'x', pointId: null, reason: `nobody is called ${name}`, excerpt: '' }] } : { samples: [{ pointId: field.pointId, atMs: null, value: Number(value), unit: null }], refusals: [] };
    },
  })]]);
  const { post, world } = await makePost(formats);
  expect((await post('lobby/display-temperature=25.5', { type: 'application/senml+json' })).json()).toEqual({ taken: 1, refused: [] });
  expect(world.engine.deliveries[0]?.samples).toMatchObject([{ pointId: 'lobby/display-temperature', value: 25.5 }]);
  const other = await post('ward/display-temperature=25.5', { type: 'application/senml+json' });
  expect([other.statusCode, other.json().refused[0].reason]).toEqual([422, 'nobody is called ward/display-temperature']);
  expect((await post('x', { type: 'text/plain' })).json().message).toContain('application/json, text/csv, application/senml+json');
});

test('what cannot be read is told in words', async () => {
  const { post } = await makePost();
  const told = async (answer: ReturnType<typeof post>) => {
    const { statusCode, body } = await answer;
    return [statusCode, JSON.parse(body).message];
  };
  expect(await told(post('{"readings":', {}))).toEqual([400, expect.stringContaining('The body is no JSON')]);
  expect(await told(post(Buffer.from([0xff, 0xfe]), {}))).toEqual([400, expect.stringContaining('The body is no JSON')]);
  expect(await told(post('{"readings":5}', {}))).toEqual([400, expect.stringContaining('"readings" is no list')]);
  expect(await told(post('<xml/>', { type: 'application/xml' }))).toEqual([415, expect.stringContaining('application/xml is not known; send one of application/json, text/csv')]);
  expect(await told(post('[]', { headers: { 'content-encoding': 'gzip' } }))).toEqual([415, expect.stringContaining('gzip is not understood')]);
  expect(await told(post(json(Array.from({ length: 10_001 }, () => ({ point: 'lobby/display-temperature', value: 25 }))), {}))).toEqual([413, expect.stringContaining('More than 10000 readings')]);
  expect(await told(post(' '.repeat(1024 * 1024 + 1), {}))).toEqual([413, 'The body is too large; send it in parts.']);
  expect(await told(post('', {}))).toEqual([400, expect.stringMatching(/nothing in the body|no JSON/)]);
});

test('only the token of the site opens it; wrong ones are slowed down, the right one never', async () => {
  const { app, post, world, logIn } = await makePost();
  const body = json({ point: 'lobby/display-temperature', value: 25 });
  for (const [site, token] of [['tower', tokens['clinic']], ['clinic', TOKEN], ['grill', TOKEN], ['nowhere', TOKEN], ['grill', ''], ['grill', 'null'], ['tower', `${TOKEN} `.slice(1)]] as const) {
    const refused = await post(body, { site, token: token ?? '' });
    expect([site, refused.statusCode, refused.headers['www-authenticate'], refused.json().message]).toEqual([site, 401, 'Bearer', expect.stringContaining('Send the token of the site')]);
  }
  // Nor does a login: the address belongs to devices.
  const visitor = await logIn();
  expect((await visitor.inject({ method: 'POST', url: '/api/sites/tower/readings', payload: body, headers: { 'content-type': 'application/json' } })).statusCode).toBe(401);
  const slowed = await post(body, { token: 'guess' });
  expect([slowed.statusCode, Number(slowed.headers['retry-after']) > 0, slowed.json().message]).toEqual([429, true, expect.stringContaining('Too many wrong tokens')]);
  expect((await post(body)).statusCode).toBe(200);
  expect(world.engine.deliveries).toHaveLength(1);
  // And the token opens nothing else.
  for (const url of ['/', '/api/board', '/api/import/x']) expect([302, 401]).toContain((await app.inject({ url, headers: { authorization: `Bearer ${TOKEN}` } })).statusCode);
});

test('stands in the OpenAPI document', async () => {
  const { logIn } = await makePost();
  const document = (await (await logIn()).get('/api/openapi.json')).json();
  const { post } = document.paths['/api/sites/{site}/readings'];
  expect(post.security).toEqual([{ site: [] }]);
  expect(document.components.securitySchemes.site).toEqual({ type: 'http', scheme: 'bearer' });
  expect(Object.keys(post.responses)).toEqual(['200', '400', '401', '413', '415', '422', '429', '503']);
  expect(JSON.stringify(post.requestBody.content['application/json'].schema)).toContain('RFC 3339 with zone');
});
