/** The event stream over a real socket. */
import { expect, onTestFinished, test } from 'vitest';
import { startWeb } from '../../src/web/start.ts';
import { TestClock } from './fakes.ts';
import { START_MS } from './site.ts';
import { LOGIN, makeWorld } from './world.ts';

async function listen() {
  const clock = new TestClock(START_MS);
  const world = await makeWorld(clock);
  const web = await startWeb(world.options);
  let stopped = false;
  const stop = async (): Promise<void> => {
    if (!stopped) await web.stop();
    stopped = true;
  };
  onTestFinished(stop);
  const login = await fetch(`${web.url}/login`, { method: 'POST', body: new URLSearchParams({ ...LOGIN }), redirect: 'manual' });
  const cookie = login.headers.getSetCookie()[0]?.split(';')[0] ?? '';
  const leave = new AbortController();
  onTestFinished(() => leave.abort());
  const answer = await fetch(`${web.url}/api/live`, { headers: { cookie }, signal: leave.signal });
  let heard = '';
  const ended = (async (): Promise<'ended'> => {
    const decoder = new TextDecoder();
    for await (const chunk of answer.body ?? []) heard += decoder.decode(chunk);
    return 'ended';
  })();
  ended.catch(() => undefined);
  return { clock, world, stop, cookie, answer, ended, heard: () => heard, url: web.url };
}

test('many commits are folded into one message a second, which names what changed and shows nothing', async () => {
  const { answer, heard, world, clock } = await listen();
  expect(answer.headers.get('content-type')).toContain('text/event-stream');
  await expect.poll(heard).toContain('event: alive');
  for (let n = 0; n < 1000; n += 1) world.engine.committed(['lobby/display-temperature', 'cafe/heater-power'], n === 500 ? ['bar'] : []);
  expect(heard()).not.toContain('event: change');
  clock.advance(1000);
  await expect.poll(heard).toContain('event: change\ndata: {"readings":["lobby","cafe"],"alarms":["bar"]}\n\n');
  clock.advance(1000);
  world.engine.committed([], ['host']);
  clock.advance(1000);
  await expect.poll(heard).toContain('"alarms":["host"]');
  expect(heard().match(/event: change/g)).toHaveLength(2);
});

test('while nothing happens it gives a sign of life every 15 s', async () => {
  const { heard, clock } = await listen();
  await expect.poll(heard).toContain('event: alive');
  clock.advance(30_000);
  await expect.poll(() => heard().match(/event: alive/g)?.length).toBe(3);
});

test('the stream ends within a minute of logging out', async () => {
  const { url, cookie, clock, ended } = await listen();
  await fetch(`${url}/logout`, { method: 'POST', headers: { cookie }, redirect: 'manual' });
  clock.advance(60_000);
  expect(await ended).toBe('ended');
});

test('stopping ends the streams and frees the port', async () => {
  const { url, stop, ended } = await listen();
  await stop();
  expect(await ended).toBe('ended');
  await expect(fetch(`${url}/health`)).rejects.toThrow();
});
