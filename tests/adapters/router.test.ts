/** Which point gets which message, what unclaimed topics are told, and what is subscribed to. */
import { expect, it } from 'vitest';
import { excerpt } from '../../adapters/contract.ts';
import { fenceProblem, mayPublish, maySubscribe } from '../../adapters/fence.ts';
import { foldEvents, MAX_TOLD_OF_A_KIND } from '../../adapters/event-fold.ts';
import { replaceableRouter } from '../../adapters/replaceable-router.ts';
import { RouteError } from '../../adapters/router.ts';
import type { SourceEvent } from '../../adapters/source.ts';
import { point, router, site, topicA } from './rig.ts';
import { UNCLAIMED_MESSAGE_BYTES } from '../../src/domain/unclaimed.ts';

const bytes = (text: string): Buffer => Buffer.from(text);
const live = (topic: string, text: string) => ({ topic, bytes: bytes(text), arrivedMs: 5, retain: false });

it('hands one message to every point of its topic', async () => {
  const topic = 'harbor-lobby/strip';
  const routes = await router([point('t/a', topic, 'json', { value: '/a' }), point('t/b', topic, 'json', { value: '/b' }), point('t/c', topicA)]);
  expect(routes.route(live(topic, '{"a":1,"b":2}')).samples.map(({ pointId, value }) => [pointId, value])).toEqual([['t/a', 1], ['t/b', 2]]);
  expect(routes.explain()).toEqual([
    { topic, format: 'json', looksLike: expect.any(String), pointIds: ['t/a', 't/b'] },
    { topic: topicA, format: 'number', looksLike: expect.any(String), pointIds: ['t/c'] },
  ]);
});

// MQTT 5 §3.3.1.3 (check-values §8.3): a RETAIN = 1 delivery is an old value.
it('takes nothing from a retained delivery, claimed or not', async () => {
  const routes = await router();
  expect(routes.route({ ...live(topicA, '25'), retain: true })).toEqual({ samples: [], refusals: [] });
  expect(routes.route({ ...live('harbor-lobby/x', '25'), retain: true })).toEqual({ samples: [], refusals: [] });
});

it('hands on a message no point claims, whole and with its site', async () => {
  const routes = await router();
  const message = live('harbor-lobby/Sump Temp', '25.1');
  expect(routes.route(message)).toEqual({ samples: [], refusals: [], unclaimed: [{ topic: 'harbor-lobby/Sump Temp', siteId: 'harbor-lobby', arrivedMs: 5, bytes: message.bytes }] });
  expect(routes.route(live('elsewhere/x', '25.1')).unclaimed).toMatchObject([{ siteId: null }]);
  expect(routes.route(live(topicA, '25.1')).unclaimed).toBeUndefined();
});

it('can be replaced while sources hold it', async () => {
  const routes = replaceableRouter(await router([]));
  expect(routes.claims(topicA)).toBe(false);
  routes.replace(await router([point('t/new', topicA)], [site('harbor-lobby'), site('second')]), 5);
  expect(routes.route(live(topicA, '25.1')).samples.map(({ pointId }) => pointId)).toEqual(['t/new']);
  expect(routes.subscriptions).toEqual(['harbor-lobby/#', 'second/#']);
});

it('shows what was refused as text, or in hexadecimal where it is none', () => {
  expect(excerpt(bytes('25.1 °C\n'))).toBe('25.1 °C·');
  expect(excerpt(Buffer.from('0880b2eda6cb33120b', 'hex'))).toBe('08 80 b2 ed a6 cb 33 12 0b');
  expect(excerpt(Buffer.alloc(500, 1)).length).toBeLessThanOrEqual(120);
});

it('refuses payloads that are too large', async () => {
  const routes = await router();
  expect(routes.route(live(topicA, '1'.repeat(256 * 1024 + 1))).refusals[0]?.reason).toContain('at most 262144');
});

it('subscribes to the topics of each site once, and to loose topics one by one', async () => {
  const sites = [site('a'), site('b', 'a/b/'), site('loose', '')];
  const routes = await router([point('t/1', 'a/x'), point('t/2', 'other/y'), point('t/3', 'other/z')], sites);
  expect(routes.subscriptions).toEqual(['a/#', 'other/y', 'other/z']);
});

it('refuses to start on a fleet it cannot read', async () => {
  await expect(router([point('t/1', 'a/x', 'nummer')])).rejects.toThrow(RouteError);
  await expect(router([point('t/1', 'a/x', 'nummer')])).rejects.toThrow('there is json, number, senml, sparkplug');
  await expect(router([point('t/1', 'a/x'), point('t/2', 'a/x', 'json', { value: '' })])).rejects.toThrow('one topic has one format');
});

it('fences topics', () => {
  const fence = { topics: 'bistro/' };
  expect(['bistro/a', 'bistro/a/b'].map((topic) => mayPublish(fence, topic))).toEqual([true, true]);
  expect(['bistro', 'bistro/', 'bistro2/a', 'other', '$SYS/a', ''].map((topic) => mayPublish(fence, topic))).toEqual([false, false, false, false, false, false]);
  expect(['bistro/#', 'bistro/+/a'].map((filter) => maySubscribe(fence, filter))).toEqual([true, true]);
  expect(['#', '+/#', 'bistro+/#', '$share/g/bistro/#'].map((filter) => maySubscribe(fence, filter))).toEqual([false, false, false, false]);
  expect(fenceProblem('bistro/')).toBeNull();
});

it('folds events that repeat', () => {
  const told: SourceEvent[] = [];
  const tell = foldEvents((event) => told.push(event));
  const event = { kind: 'publish-refused', who: 'bistro', topic: 'x', text: 'no' } as const;
  for (let atMs = 0; atMs < 600_000; atMs += 1000) tell({ ...event, atMs });
  tell({ ...event, topic: 'y', atMs: 1 });
  tell({ ...event, atMs: 600_000 });
  expect(told.map(({ topic, count }) => [topic, count])).toEqual([['x', 1], ['y', 1], ['x', 600]]);
});

it('tells of so many of a kind in ten minutes, whatever names they come up with, and how many there were', () => {
  const told: SourceEvent[] = [];
  const tell = foldEvents((event) => told.push(event));
  for (let n = 0; n < 10_000; n += 1) tell({ kind: 'login-refused', who: `user ${n}`, topic: null, text: 'Wrong password.', atMs: n });
  tell({ kind: 'client-connected', who: 'bistro', topic: null, text: 'Connected.', atMs: 10_000 });
  expect(told.map(({ kind }) => kind)).toEqual([...Array.from({ length: MAX_TOLD_OF_A_KIND }, () => 'login-refused'), 'client-connected']);
  tell({ kind: 'login-refused', who: 'user x', topic: null, text: 'Wrong password.', atMs: 600_000 });
  expect(told.at(-1)).toMatchObject({ who: 'user x', count: 1, text: `Wrong password. Before, ${10_000 - MAX_TOLD_OF_A_KIND} more events of this kind were not told one by one.` });
});

it('an unclaimed message too long to be kept takes no memory while it waits for the disk', async () => {
  const routes = await router();
  const one = routes.route(live('harbor-lobby/camera', 'x'.repeat(200_000))).unclaimed?.[0];
  const other = routes.route(live('harbor-lobby/camera', 'y'.repeat(100_000))).unclaimed?.[0];
  expect(one?.bytes.length).toBeGreaterThan(UNCLAIMED_MESSAGE_BYTES);
  expect(one?.bytes.buffer.byteLength).toBeLessThan(2 * UNCLAIMED_MESSAGE_BYTES);
  expect(other?.bytes).toBe(one?.bytes);
});
