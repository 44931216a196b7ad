/** The embedded broker, driven by a stock client in both versions of MQTT. */
import { connect as connectTcp } from 'node:net';
import { connectAsync, type IClientOptions, type MqttClient } from 'mqtt';
import { afterEach, describe, expect, it } from 'vitest';
import { type MqttBrokerOptions, startMqttBroker } from '../../adapters/mqtt-broker.ts';
import { systemClock } from '../../src/clock.ts';
import { makeCertificate, until } from './mosquitto.ts';
import { FakeEngine, point, router, site, topicA } from './rig.ts';

const cleanUp: (() => Promise<unknown>)[] = [];
afterEach(async () => {
  for (const undo of cleanUp.splice(0).reverse()) await undo();
});

const accounts = [
  { user: 'harbor', password: 'first secret', topics: 'harbor-lobby/' },
  { user: 'bistro', password: 'second secret', topics: 'bistro/' },
];

async function broker(engine: FakeEngine, more: Partial<MqttBrokerOptions> = {}) {
  const started = await startMqttBroker({
    host: '127.0.0.1', port: 0, tls: null, accounts, clock: systemClock, deliver: engine.deliver, onEvent: engine.onEvent,
    router: await router([point('lobby-reef/temperature', topicA), point('bistro/room', 'bistro/room')], [site('harbor-lobby'), site('bistro')]), ...more,
  });
  cleanUp.push(() => {
    engine.commit();
    return started.stop();
  });
  return started;
}

async function device(port: number, options: IClientOptions = {}): Promise<MqttClient> {
  const client = await connectAsync(`mqtt://127.0.0.1:${port}`, { username: 'harbor', password: 'first secret', reconnectPeriod: 0, ...options });
  cleanUp.push(() => client.endAsync(true));
  return client;
}

/** Whether the acknowledgement has come yet. */
const acknowledged = (publish: Promise<unknown>): { done: boolean } => {
  const state = { done: false };
  publish.then(() => (state.done = true), () => {});
  return state;
};

for (const protocolVersion of [4, 5] as const) {
  describe(`MQTT ${protocolVersion === 4 ? '3.1.1' : '5'}`, () => {
    it('acknowledges QoS 1 and 2 after the commit, and takes a retained publish as fresh', async () => {
      const engine = new FakeEngine();
      const { port, status } = await broker(engine);
      const client = await device(port, { protocolVersion });
      const one = acknowledged(client.publishAsync(topicA, '1', { qos: 1, retain: true }));
      const two = acknowledged(client.publishAsync(topicA, '2', { qos: 2 }));
      await until(() => engine.values.length === 2, 'two readings');
      // Another device comes, subscribes and is answered: time enough for an acknowledgement sent too early to arrive.
      const other = await device(port, { protocolVersion });
      await other.subscribeAsync('harbor-lobby/other');
      expect([one.done, two.done, status().underWay]).toEqual([false, false, 2]);
      engine.commit();
      await until(() => one.done && two.done, 'the acknowledgements');
      expect(engine.values).toEqual([1, 2]);

      await client.publishAsync(topicA, '3');
      await until(() => engine.values.length === 3, 'the one at QoS 0');
      engine.commit();
    });

    it('lets nobody in with a wrong password', async () => {
      const engine = new FakeEngine();
      const { port } = await broker(engine);
      const refusal = protocolVersion === 4 ? /bad username or password/i : /bad user ?name or password/i;
      await expect(device(port, { protocolVersion, password: 'second secret' })).rejects.toThrow(refusal);
      await expect(device(port, { protocolVersion, username: 'nobody' })).rejects.toThrow(refusal);
      await expect(connectAsync(`mqtt://127.0.0.1:${port}`, { protocolVersion, reconnectPeriod: 0 })).rejects.toThrow(refusal);
      expect(engine.saw('login-refused').map(({ who }) => who)).toEqual(['harbor', 'nobody', null]);
      expect(engine.saw('client-connected')).toEqual([]);
    });

    it('fences publishes and subscriptions to the topics of the site', async () => {
      const engine = new FakeEngine();
      engine.commitAtOnce = true;
      const { port } = await broker(engine);
      const neighbour = await device(port, { protocolVersion, username: 'bistro', password: 'second secret' });
      const overheard: string[] = [];
      neighbour.on('message', (topic) => overheard.push(topic));
      await neighbour.subscribeAsync('bistro/#');
      for (const filter of ['#', '+/room', 'harbor-lobby/#', '$SYS/#', '$share/g/bistro/#']) await expect(neighbour.subscribeAsync(filter)).rejects.toThrow();

      const client = await device(port, { protocolVersion });
      await client.publishAsync('bistro/room', '99', { qos: 1, retain: true });
      await client.publishAsync('$SYS/anything', '99', { qos: 1 });
      await client.publishAsync('harbor-lobby', '99', { qos: 1 });
      await client.publishAsync(topicA, '25', { qos: 1 });
      await neighbour.publishAsync('bistro/room', '20', { qos: 1 });
      await until(() => overheard.length > 0, 'the own message');
      expect(engine.values).toEqual([25, 20]);
      expect(overheard).toEqual(['bistro/room']);
      expect(engine.saw('publish-refused').map(({ topic }) => topic)).toEqual(['bistro/room', '$SYS/anything', 'harbor-lobby']);
    });

    it('is not confused by two accounts with one client id', async () => {
      const engine = new FakeEngine();
      engine.commitAtOnce = true;
      const { port, status } = await broker(engine);
      const first = await device(port, { protocolVersion, clientId: 'same' });
      const second = await device(port, { protocolVersion, clientId: 'same', username: 'bistro', password: 'second secret' });
      await first.publishAsync(topicA, '1', { qos: 1 });
      await second.publishAsync('bistro/room', '2', { qos: 1 });
      expect(engine.values).toEqual([1, 2]);
      expect(status().clients).toBe(2);
    });

    it('takes the will of a device that vanishes', async () => {
      const engine = new FakeEngine();
      engine.commitAtOnce = true;
      const { port } = await broker(engine);
      const client = await device(port, { protocolVersion, will: { topic: topicA, payload: Buffer.from('7'), qos: 1, retain: false } });
      client.stream.destroy();
      await until(() => engine.values.length > 0, 'the will');
      expect(engine.values).toEqual([7]);
    });

    it('keeps up with many messages in flight, in order', async () => {
      const engine = new FakeEngine();
      engine.commitAtOnce = true;
      const { port } = await broker(engine);
      const client = await device(port, { protocolVersion });
      await Promise.all(Array.from({ length: 3000 }, (_, index) => client.publishAsync(topicA, String(index), { qos: 1 })));
      expect(engine.values).toEqual(Array.from({ length: 3000 }, (_, index) => index));
    });

    it('closes on a packet beyond the bound, and refuses a payload beyond it in words', async () => {
      const engine = new FakeEngine();
      engine.commitAtOnce = true;
      const { port } = await broker(engine);
      const client = await device(port, { protocolVersion });
      await client.publishAsync(topicA, Buffer.alloc(256 * 1024 + 1, 0x20), { qos: 1 });
      expect(engine.reasons).toEqual([expect.stringContaining('at most 262144')]);
      client.on('error', () => {});
      client.publish(topicA, Buffer.alloc(300 * 1024), { qos: 1 }, () => {});
      await until(() => engine.saw('connection-refused').length > 0 || !client.connected, 'the end of the connection');
      expect(engine.values).toEqual([]);
    });
  });
}

it('waits when the queue is full and drops only QoS 0', async () => {
  const engine = new FakeEngine();
  engine.room = 1;
  const { port, status } = await broker(engine);
  const client = await device(port);
  const all = ['1', '2', '3'].map((value) => acknowledged(client.publishAsync(topicA, value, { qos: 1 })));
  // A device reads its acknowledgements before it sends on, so the one at QoS 0 comes from another.
  const other = await device(port);
  await other.publishAsync(topicA, '99', { qos: 0 });
  await until(() => status().waiting === 2 && status().droppedQos0 === 1, 'a full queue');
  await until(() => {
    engine.commit();
    return all.every(({ done }) => done);
  }, 'all acknowledgements');
  expect(engine.values).toEqual([1, 2, 3]);
  expect(engine.reasons).toEqual([expect.stringContaining('QoS 0, was lost')]);
});

it('keeps stored messages for those who look, and forgets them when told', async () => {
  const engine = new FakeEngine();
  engine.commitAtOnce = true;
  const { port } = await broker(engine);
  const client = await device(port);
  await client.publishAsync(topicA, '5', { qos: 1, retain: true });
  await client.publishAsync('harbor-lobby/unclaimed', '6', { qos: 1, retain: true });
  const looker = await device(port);
  const seen: string[] = [];
  looker.on('message', (topic, payload, { retain }) => seen.push(`${topic} ${payload.toString()} ${retain}`));
  await looker.subscribeAsync('harbor-lobby/#');
  await until(() => seen.length > 0, 'the stored message');
  await client.publishAsync(topicA, '', { qos: 1, retain: true });
  await client.publishAsync(topicA, '8', { qos: 1 });
  await until(() => seen.length > 2, 'the live ones');
  expect(seen[0]).toBe(`${topicA} 5 true`);
  expect(seen.some((line) => line.includes('unclaimed'))).toBe(false);
  // The deletion is no reading and no mistake.
  expect(engine.values).toEqual([5, 8]);
  expect(engine.reasons).toEqual([]);
  expect(engine.taken.flatMap(({ unclaimed = [] }) => unclaimed.map(({ topic, siteId }) => [topic, siteId]))).toEqual([['harbor-lobby/unclaimed', 'harbor-lobby']]);
});

it('speaks TLS', async () => {
  const certificate = makeCertificate();
  const engine = new FakeEngine();
  engine.commitAtOnce = true;
  const { port, status } = await broker(engine, { tls: certificate });
  const client = await connectAsync(`mqtts://localhost:${port}`, { username: 'harbor', password: 'first secret', ca: certificate.cert, protocolVersion: 5 });
  cleanUp.push(() => client.endAsync(true));
  await client.publishAsync(topicA, '1', { qos: 1 });
  expect(engine.values).toEqual([1]);
  expect(status().address).toBe(`mqtts://127.0.0.1:${port}`);
});

it('outlives bytes that are no MQTT', async () => {
  const engine = new FakeEngine();
  engine.commitAtOnce = true;
  const { port } = await broker(engine);
  const connect5 = Buffer.from([0x10, 0x11, 0x00, 0x04, 0x4d, 0x51, 0x54, 0x54, 0x05]);
  const inputs = [Buffer.from('GET / HTTP/1.1\r\n\r\n'), Buffer.from([0x10, 0xff, 0xff, 0xff, 0xff, 0xff]), Buffer.from([0x30, 0x02, 0x00, 0x00]), Buffer.concat([connect5, Buffer.alloc(64, 0xee)]), Buffer.from([0x10, 0x0c, 0x00, 0x04, 0x4d, 0x51, 0x54, 0x54, 0x04, 0x02, 0x00, 0x0a, 0xff, 0xff])];
  for (const bytes of inputs) {
    await new Promise<void>((resolve) => {
      const socket = connectTcp(port, '127.0.0.1', () => socket.end(bytes));
      socket.on('error', () => {});
      socket.on('close', () => resolve());
      socket.resume();
    });
  }
  const client = await device(port);
  await client.publishAsync(topicA, '1', { qos: 1 });
  expect(engine.values).toEqual([1]);
});

it('refuses accounts that fence nothing, and a port that is taken', async () => {
  const engine = new FakeEngine();
  const { port } = await broker(engine);
  await expect(broker(engine, { port })).rejects.toThrow(`cannot listen on 127.0.0.1:${port}`);
  const with_ = (topics: string, user = 'x', password = 'x') => broker(engine, { accounts: [...accounts, { user, password, topics }] });
  await expect(with_('')).rejects.toThrow('is empty');
  await expect(with_('lobby')).rejects.toThrow('must end in a slash');
  await expect(with_('a/#/')).rejects.toThrow('no # and no +');
  await expect(with_('bistro/kitchen/')).rejects.toThrow('lie within those of bistro');
  await expect(with_('third/', 'bistro')).rejects.toThrow('two sites share');
  await expect(with_('third/', 'third', '')).rejects.toThrow('password is empty');
});

it('a device is put out when the fence of its account changes: topics, password or Sparkplug group', async () => {
  const withGroups = [{ ...accounts[0], sparkplugGroup: 'Harbor' }, { ...accounts[1], sparkplugGroup: 'Bistro' }] as const;
  const started = await broker(new FakeEngine(), { accounts: withGroups as MqttBrokerOptions['accounts'] });
  const harbor = await device(started.port, { clientId: 'h' });
  const bistro = await device(started.port, { clientId: 'b', username: 'bistro', password: 'second secret' });
  // The group goes to the neighbour: whoever was let in for it must not go on publishing there.
  started.fleetChanged([accounts[0], { ...accounts[1], sparkplugGroup: 'Harbor' }] as MqttBrokerOptions['accounts']);
  await until(() => !harbor.connected && !bistro.connected, 'both connections to end');
  const again = await device(started.port, { clientId: 'h' });
  started.fleetChanged([{ ...accounts[0], sparkplugGroup: null }, { ...accounts[1], sparkplugGroup: 'Harbor' }] as MqttBrokerOptions['accounts']);
  await again.publishAsync('harbor-lobby/unknown', '1');
  expect(again.connected).toBe(true);
});
