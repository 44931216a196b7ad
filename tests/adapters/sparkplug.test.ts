/**
 * Sparkplug from a real broker to the alarms: fleet file, router, source, engine and store as the service has them; the gateway is played by `edge-node.ts`,
 * whose payloads another library writes. Rules of Eclipse Sparkplug 3.0.0 (check-values §8.2).
 */
import { connect as connectTcp, createServer, type Socket } from 'node:net';
import { connectAsync } from 'mqtt';
import { afterEach, describe, expect, it } from 'vitest';
import { loadFormats } from '../../adapters/load.ts';
import { startMqttBroker } from '../../adapters/mqtt-broker.ts';
import { startMqttClient } from '../../adapters/mqtt-client.ts';
import { makeRouter } from '../../adapters/router.ts';
import type { MqttSource, SourceEvent } from '../../adapters/source.ts';
import { systemClock } from '../../src/clock.ts';
import { readFleet } from '../../src/config/fleet-file.ts';
import { MINUTE } from '../../src/domain/duration.ts';
import type { Fleet } from '../../src/domain/fleet.ts';
import { Engine } from '../../src/engine/engine.ts';
import { makeLogger } from '../../src/log.ts';
import { compileRules } from '../../src/rules/compile.ts';
import type { Rule } from '../../src/rules/contract.ts';
import { loadRuleKinds } from '../../src/rules/load.ts';
import type { Store } from '../../src/store/contract.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { EdgeNode, type EdgeNodeOptions } from './edge-node.ts';
import { type Mosquitto, startMosquitto, until } from './mosquitto.ts';

const fleetText = `
clients:
  - id: harbor-dental
    name: Harbor Dental (invented)
    sites:
      - id: harbor-lobby
        name: Lobby (invented)
        timeZone: America/Denver
        sparkplugGroup: Harbor Lobby
        account: { user: harbor-lobby, passwordEnv: TANKBELL_HARBOR_LOBBY }
        tanks:
          - id: lobby-reef
            name: Lobby reef (invented)
            water: reef
            display: 240 gal
            points:
              - { id: display-temperature, kind: temperature, every: 30s, source: { topic: spBv1.0/Harbor Lobby/plant room, format: sparkplug, metric: Water/Temperature } }
              - { id: sump-level, kind: level, place: sump, every: 30s, source: { topic: spBv1.0/Harbor Lobby/plant room/sump, format: sparkplug, metric: Level } }
            rules:
              - { kind: limit, subject: display-temperature, high: 28, onDelay: 0s }
              - { kind: limit, subject: sump-level, low: 100, onDelay: 0s }
people:
  - { id: ana, name: Ana Example (invented), email: ana@example.invalid, timeZone: America/Denver }
onCall: { steps: [{ person: ana }] }
`;

const water = 'lobby-reef/display-temperature';
const level = 'lobby-reef/sump-level';
const limit = 'lobby-reef/limit/display-temperature';
const levelLimit = 'lobby-reef/limit/sump-level';

const cleanUp: (() => Promise<unknown> | unknown)[] = [];
afterEach(async () => {
  for (const undo of cleanUp.splice(0).reverse()) await undo();
});

async function parts(): Promise<{ fleet: Fleet; rules: readonly Rule[] }> {
  const kinds = await loadRuleKinds();
  const read = readFleet(fleetText, 'sparkplug.yaml', { kinds, formats: await loadFormats(), broker: 'embedded' });
  if ('mistakes' in read) throw new Error(JSON.stringify(read.mistakes, null, 1));
  return { fleet: read.fleet, rules: compileRules(read.fleet, kinds) };
}

interface Service {
  readonly engine: Engine;
  readonly store: Store;
  readonly source: MqttSource;
  readonly events: SourceEvent[];
  readonly port: number;
  stop(): Promise<void>;
}

/** @param at port of an external broker; left out: the embedded one. @param kept the store of an earlier run. */
async function service(at?: number, kept?: Store, protocolVersion: 4 | 5 = 4): Promise<Service> {
  const { fleet, rules } = await parts();
  const store = kept ?? (await openSqliteStore(':memory:'));
  const log = makeLogger('silent', systemClock.now);
  const engine = await Engine.start({ store, fleet, rules, clock: systemClock, log, onPages: () => undefined, onFatal: (error) => { throw error; } });
  const events: SourceEvent[] = [];
  const router = makeRouter(fleet, await loadFormats(), 'tankbell-test');
  const common = { router, deliver: engine.deliver, clock: systemClock, onEvent: (event: SourceEvent) => events.push(event) };
  const embedded = at === undefined
    ? await startMqttBroker({ host: '127.0.0.1', port: 0, tls: null, accounts: [{ user: 'harbor-lobby', password: 'a secret', topics: 'harbor-lobby/', sparkplugGroup: 'Harbor Lobby' }], ...common })
    : null;
  const source = embedded ?? (await startMqttClient({ url: `mqtt://127.0.0.1:${at}`, clientId: 'tankbell-test', user: null, password: null, ca: null, protocolVersion, ...common }));
  let stopped = false;
  const stop = async (): Promise<void> => {
    if (stopped) return;
    stopped = true;
    await source.stop();
    await engine.stop();
  };
  cleanUp.push(stop);
  await until(() => source.status().state === 'up', 'the source');
  return { engine, store, source, events, port: embedded?.port ?? at ?? 0, stop };
}

async function edge(port: number, more: Partial<EdgeNodeOptions> = {}): Promise<EdgeNode> {
  const node = await EdgeNode.connect({
    port, group: 'Harbor Lobby', node: 'plant room', device: 'sump', bdSeq: 0,
    values: { 'Water/Temperature': { alias: 1, type: 'Float', value: 25.1 }, Unclaimed: { alias: 2, type: 'Int32', value: -5 } },
    deviceValues: { Level: { alias: 3, type: 'Int32', value: 200 } },
    login: { username: 'harbor-lobby', password: 'a secret' },
    ...more,
  });
  cleanUp.push(() => node.end());
  return node;
}

async function mosquitto(): Promise<Mosquitto> {
  const broker = await startMosquitto(['max_queued_messages 1000']);
  cleanUp.push(() => broker.stop());
  return broker;
}

const valueOf = ({ engine }: Service, pointId: string): number | undefined => engine.view.latest(pointId)?.value;
const gets = (of: Service, pointId: string, value: number): Promise<void> => until(() => valueOf(of, pointId) === value, `${pointId} to be ${value}`);
const turns = (of: Service, ruleId: string, verdict: string): Promise<void> => until(() => of.engine.view.statuses.get(ruleId)?.verdict === verdict, `${ruleId} to be ${verdict}`);
const journalOf = async ({ store }: Service, word: string): Promise<string[]> => (await store.journal({ limit: 100, contains: word })).map(({ text }) => text).reverse();
const reasons = async ({ store }: Service): Promise<string[]> => (await store.refusals(20)).map(({ reason }) => reason);

for (const kind of ['mosquitto', 'the embedded broker'] as const) {
  describe(`through ${kind}`, () => {
    const begin = async (): Promise<Service> => service(kind === 'mosquitto' ? (await mosquitto()).port : undefined);

    it('stores births and data by alias, and judges them', async () => {
      const running = await begin();
      const node = await edge(running.port);
      await gets(running, water, 25.1);
      await gets(running, level, 200);
      await node.data('Water/Temperature', 29.5);
      await node.data('Level', 180);
      await gets(running, water, 29.5);
      await gets(running, level, 180);
      await turns(running, limit, 'breached');
      // What no point reads is no refusal: it is kept to be claimed.
      expect(await reasons(running)).toEqual([]);
      expect(await running.store.unclaimedSources()).toMatchObject([{ topic: 'spBv1.0/Harbor Lobby/plant room', siteId: 'harbor-lobby', partial: true, messages: 1 }]);
      const series = await running.store.seriesOf(water);
      expect((await running.store.readings(series ?? -1, 0, Date.now() + MINUTE)).map(({ value }) => value)).toEqual([25.1, 29.5]);
    });

    it('asks for everything anew when a message is lost', async () => {
      const running = await begin();
      const node = await edge(running.port);
      await gets(running, level, 200);
      const births = node.births;
      node.loseOne();
      await node.data('Water/Temperature', 25.4);
      await gets(running, water, 25.4);
      await until(() => node.births === births + 1, 'the rebirth');
      expect(node.commands).toContain('Node Control/Rebirth');
      await node.data('Water/Temperature', 25.5);
      await gets(running, water, 25.5);
      expect((await reasons(running)).filter((reason) => reason.includes('lost on the way')).length).toBe(1);
    });

    it('makes the points of a gateway unknown as soon as its connection breaks, and brings them back with its birth', async () => {
      const running = await begin();
      const node = await edge(running.port);
      await turns(running, limit, 'clear');
      await turns(running, levelLimit, 'clear');
      node.kill();
      await turns(running, limit, 'unknown');
      await turns(running, levelLimit, 'unknown');
      expect(running.engine.view.statuses.get(limit)?.unknownWhy).toMatch(/its gateway Harbor Lobby\/plant room is offline since \w{3} \d/);
      expect(running.engine.view.offline?.(water)).toContain('offline since');
      await edge(running.port, { bdSeq: 1 });
      await turns(running, limit, 'clear');
      await turns(running, levelLimit, 'clear');
      expect(await journalOf(running, 'plant room')).toEqual([
        expect.stringMatching(/^Gateway Harbor Lobby\/plant room is offline/),
        expect.stringMatching(/^Gateway Harbor Lobby\/plant room is back/),
        expect.stringMatching(/^Device Harbor Lobby\/plant room\/sump is back/),
      ]);
    });

    it('takes a device apart from its gateway', async () => {
      const running = await begin();
      const node = await edge(running.port);
      await turns(running, levelLimit, 'clear');
      await node.deviceDeath();
      await turns(running, levelLimit, 'unknown');
      expect(running.engine.view.statuses.get(limit)?.verdict).toBe('clear');
      await node.birth();
      await turns(running, levelLimit, 'clear');
    });

    it('keeps history without ringing for it, and takes no value for none', async () => {
      const running = await begin();
      const node = await edge(running.port);
      await gets(running, water, 25.1);
      await node.data('Water/Temperature', 45, { at: Date.now() - 3 * MINUTE, isHistorical: true });
      await node.data('Water/Temperature', 45, { at: Date.now(), isHistorical: true });
      await node.data('Level', 190);
      await gets(running, level, 190);
      expect(valueOf(running, water)).toBe(25.1);
      expect(running.engine.view.statuses.get(limit)?.verdict).toBe('clear');
      const series = await running.store.seriesOf(water);
      expect((await running.store.readings(series ?? -1, 0, Date.now() + MINUTE)).filter(({ value }) => value === 45).length).toBe(2);
      await node.data('Water/Temperature', 0, { isNull: true });
      await turns(running, limit, 'unknown');
      expect(running.engine.view.statuses.get(limit)?.unknownWhy).toContain('reports no value');
      await node.data('Water/Temperature', 25.6);
      await turns(running, limit, 'clear');
    });

    it('stops while a gateway is connected, and does not take its own stopping for a death', async () => {
      const running = await begin();
      await edge(running.port);
      await turns(running, limit, 'clear');
      await turns(running, levelLimit, 'clear');
      await running.stop();
      expect((await running.store.load()).pointStates).toEqual([]);
    });

    it('tells gateways that it listens', async () => {
      const running = await begin();
      const node = await edge(running.port);
      await until(() => node.hostStates.some((state) => JSON.stringify(state).includes('"online":true')), 'the state of the host');
      const state = node.hostStates.at(-1);
      expect(state).toEqual({ online: true, timestamp: expect.any(Number) });
    });
  });
}

describe('with mosquitto', () => {
  it.each([4, 5] as const)('calls a gateway that was born before it came (MQTT version %i)', async (protocolVersion) => {
    const { port } = await mosquitto();
    const node = await edge(port);
    const running = await service(port, undefined, protocolVersion);
    await gets(running, water, 25.1);
    await gets(running, level, 200);
    expect(node.commands).toEqual(['Node Control/Rebirth']);
  });

  it('hears of a death that happened while it was away', async () => {
    const { port } = await mosquitto();
    const first = await service(port);
    const node = await edge(port);
    await turns(first, limit, 'clear');
    await first.stop();
    node.kill();
    const second = await service(port, first.store);
    await turns(second, limit, 'unknown');
    expect(second.engine.view.statuses.get(limit)?.unknownWhy).toContain('is offline since');
  });

  it('leaves its state with the broker: online, offline after a farewell, offline by its will, and online again', async () => {
    const { port } = await mosquitto();
    const states: { online: boolean; timestamp: number }[] = [];
    const onlooker = await connectAsync(`mqtt://127.0.0.1:${port}`);
    cleanUp.push(() => onlooker.endAsync(true));
    onlooker.on('message', (_topic, payload) => states.push(JSON.parse(payload.toString()) as { online: boolean; timestamp: number }));
    await onlooker.subscribeAsync('spBv1.0/STATE/tankbell-test', { qos: 1 });
    const last = (): boolean | undefined => states.at(-1)?.online;

    const first = await service(port);
    await until(() => last() === true, 'online');
    await first.stop();
    await until(() => last() === false, 'offline after the farewell');

    // Through a wire that can be cut.
    const sockets = new Set<Socket>();
    const wire = createServer((near) => {
      const far = connectTcp(port, '127.0.0.1');
      for (const socket of [near, far]) {
        sockets.add(socket);
        socket.on('error', () => socket.destroy());
      }
      near.pipe(far).pipe(near);
      near.on('close', () => far.destroy());
      far.on('close', () => near.destroy());
    });
    await new Promise<void>((resolve) => wire.listen(0, '127.0.0.1', resolve));
    cleanUp.push(() => wire.close());
    const address = wire.address();
    await service(typeof address === 'object' && address !== null ? address.port : 0);
    await until(() => last() === true, 'online through the wire');
    let alive: { online: boolean; timestamp: number } | undefined;
    for (let cut = 1; cut <= 2; cut += 1) {
      const seen = states.length;
      for (const socket of sockets) socket.destroy();
      // It may have said "online" twice: once for its birth, once more when the will of the connection before was heard.
      const born = states[seen - 1]?.timestamp ?? Number.POSITIVE_INFINITY;
      await until(() => states.slice(seen).some(({ online }) => !online) && last() === true && (states.at(-1)?.timestamp ?? 0) > born, `offline by the will, then online again (cut ${cut})`);
      const dead = states.slice(seen).find(({ online }) => !online);
      alive = states.at(-1);
      // The will carries the timestamp of the birth it belongs to; the next connection has its own.
      expect(dead).toEqual({ online: false, timestamp: states[seen - 1]?.timestamp });
      expect(alive?.timestamp).toBeGreaterThan(dead?.timestamp ?? Number.POSITIVE_INFINITY);
    }

    // Retained: whoever comes later is told.
    const late = await connectAsync(`mqtt://127.0.0.1:${port}`);
    cleanUp.push(() => late.endAsync(true));
    const told = new Promise<{ retain: boolean; text: string }>((resolve) => late.on('message', (_topic, payload, { retain }) => resolve({ retain, text: payload.toString() })));
    await late.subscribeAsync('spBv1.0/STATE/+');
    expect(await told).toEqual({ retain: true, text: JSON.stringify(alive) });
  });

  it('says online again when an old will comes late', async () => {
    const { port } = await mosquitto();
    await service(port);
    const other = await connectAsync(`mqtt://127.0.0.1:${port}`);
    cleanUp.push(() => other.endAsync(true));
    const states: string[] = [];
    other.on('message', (_topic, payload) => states.push(payload.toString()));
    await other.subscribeAsync('spBv1.0/STATE/tankbell-test');
    await until(() => states.some((state) => state.includes('true')), 'online');
    await other.publishAsync('spBv1.0/STATE/tankbell-test', '{"online":false,"timestamp":1}', { qos: 1, retain: true });
    await until(() => states.at(-1)?.includes('true') === true && states.some((state) => state.includes('false')), 'online again');
  });
});

describe('the fence of the embedded broker', () => {
  it('keeps a site to its group, and lets it read but not write the state of the host', async () => {
    const running = await service();
    const device = await connectAsync(`mqtt://127.0.0.1:${running.port}`, { username: 'harbor-lobby', password: 'a secret', reconnectPeriod: 0 });
    cleanUp.push(() => device.endAsync(true));
    for (const topic of ['spBv1.0/Other/NDEATH/plant room', 'spBv1.0/STATE/tankbell-test']) await device.publishAsync(topic, '{"online":false,"timestamp":1}', { qos: 1, retain: true });
    const outside = running.events.filter(({ kind }) => kind === 'publish-refused').map(({ topic }) => topic);
    expect(outside).toEqual(['spBv1.0/Other/NDEATH/plant room', 'spBv1.0/STATE/tankbell-test']);
    const told = new Promise<string>((resolve) => device.on('message', (_topic, payload) => resolve(payload.toString())));
    await device.subscribeAsync(['spBv1.0/STATE/tankbell-test', 'spBv1.0/Harbor Lobby/NCMD/plant room']);
    await expect(device.subscribeAsync('spBv1.0/Other/#')).rejects.toThrow('Subscribe error');
    expect(await told).toContain('"online":true');
  });

  it('refuses two accounts with one group, and a group within the topics of another', async () => {
    const { fleet } = await parts();
    const start = (accounts: { user: string; password: string; topics: string; sparkplugGroup?: string }[]) =>
      loadFormats().then((formats) => startMqttBroker({ host: '127.0.0.1', port: 0, tls: null, accounts, router: makeRouter(fleet, formats), deliver: () => true, clock: systemClock, onEvent: () => undefined }));
    const a = { user: 'a', password: 'x', topics: 'a/', sparkplugGroup: 'G' };
    await expect(start([a, { user: 'b', password: 'x', topics: 'b/', sparkplugGroup: 'G' }])).rejects.toThrow('share the Sparkplug group G');
    await expect(start([a, { user: 'b', password: 'x', topics: 'spBv1.0/G/' }])).rejects.toThrow('lies within the topics of broker account b');
    await expect(start([{ ...a, sparkplugGroup: 'STATE' }])).rejects.toThrow('no name of a group');
  });
});
