/**
 * The embedded broker: devices connect here when there is no other broker. Each site has one account, fenced to the site's topics.
 * A publish that only we want is taken before the library sees it (`device-stream.ts`); any other in `authorizePublish`, whose callback is held until
 * the commit. Either way the PUBACK follows the commit.
 *
 * What it deliberately does not do: keep sessions of devices that are away (a subscriber that never comes back would fill the memory),
 * keep retained messages on topics that no point claims (same), or carry anything from one site to another.
 */
import { createServer, type Server, type Socket } from 'node:net';
import { createServer as createTlsServer } from 'node:tls';
import { Aedes, type Client, type ConnectPacket, type PublishPacket, type Subscription } from 'aedes';
import type { IPublishPacket } from 'mqtt-packet';
import type { Clock } from '../src/clock.ts';
import type { Deliver } from '../src/domain/delivery.ts';
import { type BrokerAccount, makeLogin } from './accounts.ts';
import { DeviceStream, type DeviceStreamOptions } from './device-stream.ts';
import { foldEvents } from './event-fold.ts';
import { fenceProblem, mayPublish, maySubscribe } from './fence.ts';
import { HandOver } from './hand-over.ts';
import { Mqtt5Bridge } from './mqtt5-bridge.ts';
import { whenVersionKnown } from './protocol-version.ts';
import { MAX_PAYLOAD_BYTES, type Routed, type Router } from './router.ts';
import { type MqttSource, shorten, type SourceEvent, type SourceEventKind, type SourceStatus } from './source.ts';

export interface MqttBrokerOptions {
  readonly host: string;
  /** 0: any free port. */
  readonly port: number;
  /** Certificate chain and key, PEM text. */
  readonly tls: { readonly cert: string; readonly key: string } | null;
  readonly accounts: readonly BrokerAccount[];
  readonly router: Router;
  readonly deliver: Deliver;
  readonly clock: Clock;
  onEvent(event: SourceEvent): void;
}

/** A payload of the largest size read, with its topic and headers. */
const MAX_PACKET_BYTES = MAX_PAYLOAD_BYTES + 4096;
const MAX_CONNECTIONS = 500;
const CONNECT_TIMEOUT_MS = 10_000;
const STOP_WAIT_MS = 3000;
/** So often a publish goes the library's way even if it could go ours: that is how the library knows the device to be alive (§3.1.2.10). */
const PASS_ON_EVERY_MS = 500;
/** Where a refused publish is sent: nobody can subscribe to it. */
const NOWHERE = '$SYS/refused';

/** @throws Error when the accounts are not safe, or the port cannot be had: with the reason. */
export async function startMqttBroker(options: MqttBrokerOptions): Promise<MqttSource & { readonly port: number }> {
  checkAccounts(options.accounts);
  const broker = new Broker(options);
  const port = await broker.listen();
  return { port, status: () => broker.status(), stop: () => broker.stop(), fleetChanged: (accounts) => broker.fleetChanged(accounts) };
}

function checkAccounts(accounts: readonly BrokerAccount[]): void {
  for (const { user, password, topics } of accounts) {
    const problem = fenceProblem(topics);
    if (problem !== null) throw new Error(`broker account ${user}: its beginning of topics ${problem}`);
    if (password === '') throw new Error(`broker account ${user}: its password is empty`);
  }
  const groups = accounts.flatMap(({ sparkplugGroup = null }) => (sparkplugGroup === null ? [] : [sparkplugGroup]));
  for (const [index, group] of groups.entries()) {
    if (groups.indexOf(group) !== index) throw new Error(`two broker accounts share the Sparkplug group ${group}; give each site its own`);
    const problem = fenceProblem(`${group}/`);
    if (group.includes('/') || group === 'STATE' || problem !== null) throw new Error(`the Sparkplug group "${group}" is no name of a group: it holds no / # +, and is not STATE`);
    const within = accounts.find(({ topics }) => `spBv1.0/${group}/`.startsWith(topics) || topics.startsWith(`spBv1.0/${group}/`));
    if (within !== undefined) throw new Error(`the Sparkplug group ${group} lies within the topics of broker account ${within.user} (${within.topics})`);
  }
  for (const [index, { user, topics }] of accounts.entries()) {
    const other = accounts.find((account, at) => at !== index && (account.user === user || topics.startsWith(account.topics)));
    if (other === undefined) continue;
    throw new Error(other.user === user ? `two sites share the broker account ${user}; give each its own` : `broker account ${user}: topics ${topics} lie within those of ${other.user} (${other.topics})`);
  }
}

interface Device {
  readonly account: BrokerAccount;
  /** Account and client id, for people. */
  readonly name: string;
}

class Broker {
  readonly #options: MqttBrokerOptions;
  #login: ReturnType<typeof makeLogin>;
  readonly #handOver: HandOver;
  readonly #tell: ReturnType<typeof foldEvents>;
  readonly #connected = new Set<Client>();
  readonly #devices = new WeakMap<Client, Device>();
  readonly #clientIds = new WeakMap<Client, string>();
  readonly #sockets = new Set<Socket>();
  readonly #streams = new Map<Client, DeviceStream>();
  /** Devices that have subscribed: while there are any, every message goes to the library, which knows who wants what. */
  readonly #subscribers = new Set<Client>();
  readonly #server: Server;
  #aedes: Aedes | null = null;
  #port = 0;
  #state: SourceStatus['state'] = 'down';
  #sinceMs: number;
  #messages = 0;
  #lastMessageMs: number | null = null;

  constructor(options: MqttBrokerOptions) {
    this.#options = options;
    this.#sinceMs = options.clock.now();
    this.#login = makeLogin(options.accounts);
    this.#tell = foldEvents(options.onEvent);
    this.#handOver = new HandOver(options.deliver, options.clock, () => {
      for (const stream of this.#streams.values()) stream.release();
    });
    // Small packets go out at once: waiting to fill them costs four fifths of the speed (measured).
    this.#server = options.tls === null ? createServer({ noDelay: true }) : createTlsServer({ ...options.tls, noDelay: true, handshakeTimeout: CONNECT_TIMEOUT_MS });
    this.#server.maxConnections = MAX_CONNECTIONS;
  }

  async listen(): Promise<number> {
    const { host, port, tls } = this.#options;
    const aedes = await Aedes.createBroker({
      connectTimeout: CONNECT_TIMEOUT_MS,
      // Client ids are lengthened below; 3.1 would refuse more than 23 characters.
      maxClientsIdLength: 65_535,
      preConnect: (client, packet, done) => {
        this.#ownClientId(client, packet);
        done(null, true);
      },
      authenticate: (client, user, password, done) => done(...this.#authenticate(client, user, password)),
      authorizePublish: (client, packet, done) => this.#publish(client, packet, done),
      authorizeSubscribe: (client, subscription, done) => done(null, this.#subscribe(client, subscription)),
    });
    aedes.on('client', (client) => {
      this.#connected.add(client);
      this.#event('client-connected', client, `A device connected: ${this.#nameOf(client)}.`);
    });
    aedes.on('clientDisconnect', (client) => {
      this.#connected.delete(client);
      this.#subscribers.delete(client);
      this.#event('client-gone', client, `A device disconnected: ${this.#nameOf(client)}.`);
    });
    this.#aedes = aedes;
    this.#server.on(tls === null ? 'connection' : 'secureConnection', (socket: Socket) => this.#accept(aedes, socket));
    this.#server.on('drop', () => this.#refusedConnection(`all ${MAX_CONNECTIONS} connections are taken`, null));
    this.#server.on('tlsClientError', (error: Error, socket: Socket) => this.#refusedConnection(`TLS: ${error.message}`, socket.remoteAddress ?? null));
    try {
      this.#port = await listening(this.#server, host, port);
    } catch (cause) {
      aedes.close();
      throw new Error(`the broker cannot listen on ${host}:${port}: ${cause instanceof Error ? cause.message : String(cause)}`, { cause });
    }
    // Too many open files, say: the server goes on listening, so it is told and not thrown.
    this.#server.on('error', (error) => this.#refusedConnection(error.message, null));
    this.#turn('up');
    this.#announce(true);
    return this.#port;
  }

  status(): SourceStatus {
    const { host, tls } = this.#options;
    return {
      broker: 'embedded', address: `${tls === null ? 'mqtt' : 'mqtts'}://${host.includes(':') ? `[${host}]` : host}:${this.#port}`, state: this.#state, sinceMs: this.#sinceMs, why: null,
      clients: this.#aedes?.connectedClients ?? 0, messages: this.#messages, lastMessageMs: this.#lastMessageMs, retainedIgnored: 0,
      droppedQos0: this.#handOver.droppedQos0, underWay: this.#handOver.underWay, waiting: this.#handOver.waiting,
    };
  }

  async stop(): Promise<void> {
    if (this.#state === 'stopped') return;
    this.#turn('stopped');
    const closed = new Promise<void>((resolve) => this.#server.close(() => resolve()));
    this.#handOver.close();
    this.#announce(false);
    await this.#handOver.settled(STOP_WAIT_MS);
    // PUBACKs of the last commit are written on the next turn of the loop.
    await this.#options.clock.sleep(20);
    await new Promise<void>((resolve) => (this.#aedes === null ? resolve() : this.#aedes.close(() => resolve())));
    for (const socket of this.#sockets) socket.destroy();
    await closed;
  }

  #accept(aedes: Aedes, socket: Socket): void {
    const from = socket.remoteAddress ?? null;
    this.#sockets.add(socket);
    socket.on('close', () => this.#sockets.delete(socket));
    // A peer that vanishes is no failure of ours; 'close' follows.
    socket.on('error', () => socket.destroy());
    whenVersionKnown(socket, (version) => {
      const options: DeviceStreamOptions = {
        socket, maxPacketBytes: MAX_PACKET_BYTES,
        take: (packet) => this.#takeFirst(client, stream, packet),
        hasRoom: () => this.#handOver.waiting === 0,
        onRefused: (why) => this.#refusedConnection(why, from),
      };
      const stream = version === 5 ? new Mqtt5Bridge(options) : new DeviceStream(options, version ?? 4);
      const client = aedes.handle(stream);
      this.#streams.set(client, stream);
      stream.once('close', () => {
        this.#streams.delete(client);
        this.#subscribers.delete(client);
      });
    });
  }

  /** Ids of different accounts never meet, so one site cannot throw out or take over another's device. */
  #ownClientId(client: Client, packet: ConnectPacket): void {
    this.#clientIds.set(client, packet.clientId);
    packet.clean = true;
    const user = packet.username ?? '';
    if (packet.clientId !== '') packet.clientId = `${user.length}:${user}/${packet.clientId}`;
  }

  #authenticate(client: Client, user: string | undefined, password: Buffer | undefined): [Error & { returnCode: number } | null, boolean] {
    const account = user === undefined || password === undefined ? null : this.#login(user, password);
    if (account === null) {
      const who = user === undefined ? 'without a user name' : `as "${shorten(user, 60)}"`;
      this.#event('login-refused', client, `A device tried to log in ${who}: ${user === undefined || password === undefined ? 'user and password are needed' : 'wrong user or password'}.`, user ?? null);
      return [Object.assign(new Error('bad user name or password'), { returnCode: 4 }), false];
    }
    const id = this.#clientIds.get(client) ?? '';
    this.#devices.set(client, { account, name: id === '' ? account.user : `${account.user}, client id ${shorten(id, 60)}` });
    return [null, true];
  }

  /** Devices whose account is gone or fenced otherwise are disconnected; they may log in anew. @throws Error when the accounts are not safe. */
  fleetChanged(accounts: readonly BrokerAccount[]): void {
    checkAccounts(accounts);
    this.#login = makeLogin(accounts);
    for (const client of this.#connected) {
      const account = this.#devices.get(client)?.account;
      if (account === undefined) continue;
      const isUnchanged = accounts.some(({ user, password, topics, sparkplugGroup = null }) =>
        user === account.user && password === account.password && topics === account.topics && sparkplugGroup === (account.sparkplugGroup ?? null));
      if (!isUnchanged) client.close();
    }
    // A point may be new for a value that seldom changes: its gateway is asked for it.
    for (const { topic, payload } of this.#options.router.connected(this.#options.clock.now(), true)) this.#say(topic, payload, 0, false);
  }

  /**
   * What only we want: a message of a point, which nobody else has subscribed to and the broker need not keep. It goes straight to the engine. Everything
   * else, and now and then a message, goes the library's way; in order, so that none overtakes another of its device.
   */
  #takeFirst(client: Client, stream: DeviceStream, { topic, payload, qos, retain, messageId }: IPublishPacket): boolean {
    const { clock, router } = this.#options;
    const device = this.#devices.get(client);
    if (stream.passedOn > 0 || device === undefined || qos === 2 || retain || this.#subscribers.size > 0 || !router.claims(topic) || !mayPublish(device.account, topic)) return false;
    const arrivedMs = clock.now();
    if (arrivedMs - stream.passedOnMs >= PASS_ON_EVERY_MS) {
      stream.passedOnMs = arrivedMs;
      return false;
    }
    const routed = this.#route(topic, payload, arrivedMs);
    if (qos === 0 || messageId === undefined) this.#handOver.putOrDrop(routed, arrivedMs, topic);
    else this.#handOver.put(routed, arrivedMs, stream, messageId);
    return true;
  }

  /** Also called for the will of a device that vanished. `done` lets the broker acknowledge and forward. */
  #publish(client: Client | null, packet: PublishPacket, done: (error?: Error | null) => void): void {
    const stream = client === null ? undefined : this.#streams.get(client);
    if (stream !== undefined && stream.passedOn > 0) stream.passedOn -= 1;
    const device = client === null ? undefined : this.#devices.get(client);
    if (client === null || device === undefined) return done(new Error('not logged in'));
    const { topic, qos } = packet;
    if (!mayPublish(device.account, topic)) {
      this.#event('publish-refused', client, `${this.#nameOf(client)} published to ${shorten(topic, 100)}, outside of ${device.account.topics}${device.account.sparkplugGroup ? ` and of Sparkplug group ${device.account.sparkplugGroup}` : ''}; the message was dropped.`, undefined, topic);
      // MQTT 3.1.1 §3.3.5: acknowledge or close. Closing would cost the device its good messages too, over and over.
      packet.topic = NOWHERE;
      packet.retain = false;
      return done(null);
    }
    // An empty retained publish deletes the stored message (§3.3.1.3) and says nothing about the water.
    if (packet.retain && packet.payload.length === 0) return done(null);
    const arrivedMs = this.#options.clock.now();
    const routed = this.#route(topic, packet.payload, arrivedMs);
    if (packet.retain && !this.#options.router.claims(topic)) packet.retain = false;
    if (qos === 0) {
      this.#handOver.putOrDrop(routed, arrivedMs, topic);
      done(null);
    } else {
      const acknowledge = (): void => {
        if (packet.messageId !== undefined) stream?.leaveToLibrary(packet.messageId);
        done(null);
      };
      this.#handOver.put(routed, arrivedMs, { acknowledge }, packet.messageId ?? 0);
    }
  }

  #route(topic: string, payload: string | Buffer, arrivedMs: number): Routed {
    this.#messages += 1;
    this.#lastMessageMs = arrivedMs;
    // `retain` on a live publish asks us to keep a copy; the reading itself is fresh.
    const routed = this.#options.router.route({ topic, bytes: typeof payload === 'string' ? Buffer.from(payload) : payload, arrivedMs, retain: false });
    if (routed.ask !== undefined) for (const { topic: to, payload: said } of routed.ask) this.#say(to, said, 0, false);
    return routed;
  }

  /** Tells gateways whether this service listens. The broker forgets it with the process, and so do the connections of the gateways. */
  #announce(online: boolean): void {
    const { announcement } = this.#options.router;
    if (announcement !== null) this.#say(announcement.topic, Buffer.from(announcement.payload(online, this.#options.clock.now())), 1, true);
  }

  #say(topic: string, payload: Uint8Array, qos: 0 | 1, retain: boolean): void {
    this.#aedes?.publish({ cmd: 'publish', topic, payload: Buffer.from(payload), qos, retain, dup: false }, (error) => {
      if (error) this.#tell({ kind: 'publish-refused', atMs: this.#options.clock.now(), who: null, topic, text: `A message to ${topic} could not be sent: ${error.message}.` });
    });
  }

  /** `null` is answered with "failure" in the SUBACK. */
  #subscribe(client: Client, subscription: Subscription): Subscription | null {
    const device = this.#devices.get(client);
    if (device === undefined || !maySubscribe(device.account, subscription.topic)) return null;
    this.#subscribers.add(client);
    return subscription;
  }

  #nameOf(client: Client): string {
    return this.#devices.get(client)?.name ?? 'a device';
  }

  #event(kind: SourceEventKind, client: Client, text: string, who: string | null = this.#devices.get(client)?.name ?? null, topic: string | null = null): void {
    if (this.#state === 'stopped') return;
    this.#tell({ kind, atMs: this.#options.clock.now(), who, topic, text });
  }

  #refusedConnection(why: string, from: string | null): void {
    this.#tell({ kind: 'connection-refused', atMs: this.#options.clock.now(), who: from, topic: null, text: `A connection${from === null ? '' : ` from ${from}`} was closed: ${why}.` });
  }

  #turn(state: SourceStatus['state']): void {
    this.#state = state;
    this.#sinceMs = this.#options.clock.now();
  }
}

function listening(server: Server, host: string, port: number): Promise<number> {
  return new Promise((resolve, reject) => {
    server.once('error', reject);
    server.listen(port, host, () => {
      server.off('error', reject);
      const address = server.address();
      if (typeof address === 'object' && address !== null) resolve(address.port);
      else reject(new Error('the server has no port'));
    });
  });
}
