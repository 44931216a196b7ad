/** The way of a device's packets: straight to the engine or through the broker's library, in order, bounded, and kept alive. */
import { connect, type Socket } from 'node:net';
import mqttPacket, { type Packet } from 'mqtt-packet';
import { afterEach, expect, it } from 'vitest';
import { startMqttBroker } from '../../adapters/mqtt-broker.ts';
import { systemClock } from '../../src/clock.ts';
import { until } from './mosquitto.ts';
import { FakeEngine, point, router, site, topicA } from './rig.ts';

const cleanUp: (() => Promise<unknown> | void)[] = [];
afterEach(async () => {
  for (const undo of cleanUp.splice(0).reverse()) await undo();
});

async function broker(engine: FakeEngine) {
  const started = await startMqttBroker({
    host: '127.0.0.1', port: 0, tls: null, accounts: [{ user: 'harbor', password: 'first secret', topics: 'harbor-lobby/' }], clock: systemClock, deliver: engine.deliver, onEvent: engine.onEvent,
    router: await router([point('lobby-reef/temperature', topicA)], [site('harbor-lobby')]),
  });
  cleanUp.push(() => {
    engine.room = Number.POSITIVE_INFINITY;
    engine.commitAtOnce = true;
    engine.commit();
    return started.stop();
  });
  return started;
}

class RawDevice {
  readonly heard: Packet[] = [];
  readonly socket: Socket;
  closed = false;
  readonly #version: number;

  constructor(port: number, version = 4) {
    this.#version = version;
    this.socket = connect(port, '127.0.0.1');
    this.socket.setNoDelay(true);
    const parser = mqttPacket.parser({ protocolVersion: version });
    parser.on('packet', (packet) => this.heard.push(packet));
    this.socket.on('data', (chunk: Buffer) => parser.parse(chunk));
    this.socket.on('close', () => (this.closed = true));
    this.socket.on('error', () => undefined);
    cleanUp.push(() => {
      this.socket.destroy();
    });
  }

  write(...packets: readonly Packet[]): void {
    this.socket.write(Buffer.concat(packets.map((packet) => mqttPacket.generate(packet, { protocolVersion: this.#version }))));
  }

  get pubacks(): number[] {
    return this.heard.flatMap((packet) => (packet.cmd === 'puback' ? [packet.messageId ?? 0] : []));
  }
}

const hello = (version: 3 | 4 | 5 = 4, keepalive = 60, clientId = 'raw'): Packet => ({
  cmd: 'connect', protocolId: version === 3 ? 'MQIsdp' : 'MQTT', protocolVersion: version, clean: true, clientId, keepalive, username: 'harbor', password: Buffer.from('first secret'),
});
const publish = (messageId: number, payload: string, qos: 0 | 1 | 2 = 1, retain = false, topic = topicA): Packet => ({ cmd: 'publish', topic, payload, qos, retain, dup: false, ...(qos === 0 ? {} : { messageId }) });
const range = (from: number, to: number): number[] => Array.from({ length: to - from + 1 }, (_, i) => from + i);

for (const version of [3, 4, 5] as const) {
  it(`takes what a device sends in its order and acknowledges in the same, whichever way it goes (protocol level ${version})`, async () => {
    const engine = new FakeEngine();
    const { port } = await broker(engine);
    const device = new RawDevice(port, version);
    // Some come with the CONNECT itself, before anybody is known to be logged in; one is to be retained; one belongs to no point.
    device.write(hello(version), ...range(1, 20).map((n) => publish(n, String(n))));
    await until(() => engine.taken.length >= 20, 'the first');
    expect(device.pubacks).toEqual([]);
    device.write(...range(21, 300).map((n) => publish(n, String(n), 1, n === 150, n === 200 ? 'harbor-lobby/unknown' : topicA)));
    // The library takes no more of a device before what it has is committed.
    await until(() => {
      engine.commit();
      return engine.taken.length === 300;
    }, 'all');
    expect(engine.values).toEqual(range(1, 300).filter((n) => n !== 200));
    expect(engine.unclaimed).toEqual(['harbor-lobby/unknown']);
    engine.commit();
    await until(() => device.pubacks.length === 300, 'the acknowledgements');
    // [MQTT-4.6.0-2], from memory: PUBACKs in the order of the PUBLISHes.
    expect(device.pubacks).toEqual(range(1, 300));
  });
}

it('acknowledges in order what went straight, what went through the library, and what went straight again, when one commit takes them all', async () => {
  const engine = new FakeEngine();
  const { port } = await broker(engine);
  const device = new RawDevice(port);
  device.write(hello());
  await until(() => device.heard.length > 0, 'the CONNACK');
  // The first of a connection goes through the library.
  device.write(publish(1, '1'));
  await until(() => engine.taken.length === 1, 'the first');
  engine.commit();
  await until(() => device.pubacks.length === 1, 'its acknowledgement');
  device.write(...range(2, 5).map((n) => publish(n, String(n))), publish(6, '6', 1, true));
  await until(() => engine.taken.length === 6, 'the retained one');
  device.write(...range(7, 10).map((n) => publish(n, String(n))));
  await until(() => engine.taken.length === 10, 'all');
  engine.commit();
  await until(() => device.pubacks.length === 10, 'the acknowledgements');
  expect(device.pubacks).toEqual(range(1, 10));
});

it('keeps a device that publishes all the time and never pings (MQTT 3.1.1 §3.1.2.10, from memory: any packet counts)', async () => {
  const engine = new FakeEngine();
  engine.commitAtOnce = true;
  const { port } = await broker(engine);
  const device = new RawDevice(port);
  device.write(hello(4, 1));
  await until(() => device.heard.length > 0, 'the CONNACK');
  for (let n = 1; n <= 80; n += 1) {
    device.write(publish(n, String(n)));
    await new Promise((resolve) => setTimeout(resolve, 50));
  }
  expect(device.closed).toBe(false);
  expect(device.pubacks).toEqual(range(1, 80));
  // And drops one that says nothing any more, after one and a half times what it promised.
  await until(() => device.closed, 'the silent device to be dropped');
});

it('does not read on from a device while the engine has no room, and loses nothing of it', async () => {
  const engine = new FakeEngine();
  engine.room = 100;
  const { port, status } = await broker(engine);
  const device = new RawDevice(port);
  device.write(hello());
  await until(() => device.heard.length > 0, 'the CONNACK');
  const count = 60_000;
  for (let from = 1; from <= count; from += 1000) device.write(...range(from, from + 999).map((n) => publish(((n - 1) % 65_000) + 1, String(n))));
  await until(() => engine.taken.length === 100 && status().waiting > 0, 'the queue to be full');
  await new Promise((resolve) => setTimeout(resolve, 200));
  // Of what 60,000 messages of 34 bytes are, two reads of the socket (64 KiB each) may still wait beyond.
  expect(status().waiting).toBeLessThan(4000);
  engine.room = 5000;
  engine.commitAtOnce = true;
  engine.commit();
  await until(() => device.pubacks.length === count, 'all of it', 30_000);
  expect(engine.values).toEqual(range(1, count));
  expect(status().waiting).toBe(0);
});

it('hands a subscriber what others publish, from the moment it subscribes', async () => {
  const engine = new FakeEngine();
  engine.commitAtOnce = true;
  const { port } = await broker(engine);
  const device = new RawDevice(port);
  device.write(hello());
  await until(() => device.heard.length > 0, 'the CONNACK');
  device.write(...range(1, 50).map((n) => publish(n, String(n))));
  await until(() => device.pubacks.length === 50, 'the first');
  const panel = new RawDevice(port);
  panel.write(hello(4, 60, 'panel'), { cmd: 'subscribe', messageId: 1, subscriptions: [{ topic: 'harbor-lobby/#', qos: 1 }] });
  await until(() => panel.heard.some(({ cmd }) => cmd === 'suback'), 'the SUBACK');
  device.write(...range(51, 60).map((n) => publish(n, String(n))));
  await until(() => panel.heard.filter(({ cmd }) => cmd === 'publish').length === 10, 'what was published since');
  panel.socket.destroy();
  await until(() => engine.saw('client-gone').length > 0, 'the panel to be gone');
  device.write(...range(61, 70).map((n) => publish(n, String(n))));
  await until(() => device.pubacks.length === 70, 'the rest');
  expect(engine.values).toEqual(range(1, 70));
  expect(device.pubacks).toEqual(range(1, 70));
});
