/**
 * A broker as its package ships it keeps 1,000 messages for a client that is away and drops the rest without telling anybody. What is
 * lost so is found in the stored readings and journaled, one row.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { connectAsync } from 'mqtt';
import { expect, test } from 'vitest';
import { loadFormats } from '../../adapters/load.ts';
import { startMqttClient } from '../../adapters/mqtt-client.ts';
import type { MqttSource } from '../../adapters/source.ts';
import { makeRouter } from '../../adapters/router.ts';
import { systemClock } from '../../src/clock.ts';
import { MINUTE } from '../../src/domain/duration.ts';
import { Engine } from '../../src/engine/engine.ts';
import { makeLogger } from '../../src/log.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { startMosquitto, until } from '../adapters/mosquitto.ts';
import { fleetOf, point, site } from '../adapters/rig.ts';

const topics = [0, 1, 2, 3].map((n) => `harbor-lobby/p${n}`);
const fleet = fleetOf([site('harbor-lobby')], topics.map((topic, n) => point(`t/p${n}`, topic, 'json', { value: '/v', time: '/t', timeFormat: 'ms' })));

test('a queue that overflowed while we were away is one row in the journal; one that did not is none', async () => {
  const folder = mkdtempSync(join(tmpdir(), 'tankbell-overflow-'));
  const broker = await startMosquitto();
  const store = await openSqliteStore(join(folder, 'tankbell.sqlite'));
  let aheadMs = 0;
  const clock = { ...systemClock, now: () => Date.now() + aheadMs };
  const startEngine = (): Promise<Engine> => Engine.start({ store, fleet, rules: [], clock, log: makeLogger('silent', clock.now), onPages: () => undefined, onFatal: (error) => { throw error; } });
  const formats = await loadFormats();
  let engine = await startEngine();
  await engine.stop();
  const start = async (): Promise<MqttSource> => {
    engine = await startEngine();
    return startMqttClient({
      url: `mqtt://127.0.0.1:${broker.port}`, clientId: 'tankbell', user: null, password: null, ca: null, protocolVersion: 5, router: makeRouter(fleet, formats), deliver: engine.deliver, clock,
      onEvent: () => undefined, onReconnected: (fromMs) => engine.reconnected(fromMs),
    });
  };
  const gaps = async () => (await store.journal({ kinds: ['gap'], contains: 'missing', limit: 10 })).map(({ text }) => text);
  const publisher = await connectAsync(`mqtt://127.0.0.1:${broker.port}`);
  let sent = 0;
  let stampMs = 0;
  /** Stamped by the source; ten rounds of all topics, and a breath. */
  const publish = async (count: number): Promise<void> => {
    for (const endAt = sent + count; sent < endAt;) {
      const round = Array.from({ length: 10 }, () => {
        stampMs = Math.max(stampMs + 1, clock.now());
        const payload = JSON.stringify({ t: stampMs, v: 25 });
        return topics.map((topic) => publisher.publishAsync(topic, payload, { qos: 1 }));
      });
      await Promise.all(round.flat());
      sent += 10 * topics.length;
      await new Promise((resolve) => setTimeout(resolve, 20));
    }
  };
  const stored = async (): Promise<number> => {
    let count = 0;
    for (const id of (await store.seriesFor(fleet.points.map((one) => one.id))).values()) count += (await store.readings(id, 0, 1e15)).length;
    return count;
  };
  const later = async (): Promise<void> => {
    // Not at a bound: that would look like a process that was frozen.
    for (let minute = 0; minute < 3; minute += 1) {
      aheadMs += MINUTE;
      await new Promise((resolve) => setTimeout(resolve, 1200));
      await engine.settle();
    }
  };
  try {
    let client = await start();
    await until(() => client.status().state === 'up', 'the connection');
    await publish(400);
    // Short enough for the queue.
    await client.stop();
    await engine.stop();
    await publish(800);
    await new Promise((resolve) => setTimeout(resolve, 1200));
    client = await start();
    await until(async () => (await stored()) === sent, 'what the broker kept');
    await later();
    expect(await gaps()).toEqual([]);

    await publish(400);
    // What were still on its way would take room in the broker's queue from what is published while we are away.
    await until(async () => (await stored()) === sent, 'all so far');
    await client.stop();
    const sentBefore = sent;
    await publish(3000);
    const missed = sent - sentBefore - 1000;
    expect(missed).toBeGreaterThan(1900);
    client = await start();
    await until(async () => (await stored()) >= sentBefore + 1000, 'what the broker kept');
    await publish(200);
    await until(() => client.status().underWay === 0, 'all to be committed');
    await later();
    const [row, ...more] = await gaps();
    expect(more).toEqual([]);
    const [, about = '0'] = /^harbor-lobby: about (\d+) readings of 4 points are missing/.exec(row ?? '') ?? [];
    // The publisher pauses while the engine starts, so that the hole is longer than what was dropped; that it is found is what counts.
    expect(Number(about), `${row}; sent while away and dropped: ${missed}`).toBeGreaterThan(missed * 0.5);
    expect(Number(about)).toBeLessThan(missed * 4);
    await client.stop();
    await engine.stop();
  } finally {
    await publisher.endAsync(true);
    await store.close();
    await broker.stop();
    rmSync(folder, { recursive: true, force: true });
  }
}, 60_000);
