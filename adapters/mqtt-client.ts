/**
 * An external broker, as its client. A message is acknowledged after the commit, and not before; meanwhile the stream runs on.
 *
 * How, in mqtt.js 5.16.0 (pinned; `tests/adapters/mqtt-client.test.ts` holds it against a real broker): for a QoS 1 PUBLISH the library
 * calls `handleMessage(packet, callback)` and goes on to the next packet when `callback` is called. Called without an error it sends
 * the PUBACK itself; called with one it sends none. So we call it at once with an error, and write the PUBACKs of a committed batch
 * ourselves, in one piece, onto the connection the messages came by. Those of an earlier connection are dropped: the broker has
 * forgotten their packet ids and sends the messages again.
 */
import { connect, type IClientOptions, type MqttClient } from 'mqtt';
import type { Clock } from '../src/clock.ts';
import type { Deliver } from '../src/domain/delivery.ts';
import type { Announcement, Publication } from './contract.ts';
import { foldEvents } from './event-fold.ts';
import { type Acknowledger, HandOver } from './hand-over.ts';
import { pubacks } from './pubacks.ts';
import { carriesNothing, type Router } from './router.ts';
import type { MqttSource, SourceEvent, SourceStatus } from './source.ts';

export interface MqttClientOptions {
  /** `mqtt://host:1883` or `mqtts://host:8883`. */
  readonly url: string;
  readonly clientId: string;
  readonly user: string | null;
  readonly password: string | null;
  /** Certificate authorities to trust, PEM text; `null`: those of the runtime. */
  readonly ca: string | null;
  /** 4 is MQTT 3.1.1. */
  readonly protocolVersion: 4 | 5;
  readonly router: Router;
  readonly deliver: Deliver;
  readonly clock: Clock;
  onEvent(event: SourceEvent): void;
  /** The connection is back; before, from `fromMs` on, there was none. Told each time, unlike events. */
  onReconnected?(fromMs: number): void;
}

const RETRY_FIRST_MS = 500;
const RETRY_MOST_MS = 30_000;
/** A connection that lasted this long was a good one: the next outage starts again with a short wait. */
const STABLE_MS = 10_000;
const KEEPALIVE_SECONDS = 30;
/** How long a broker that speaks MQTT 5 keeps the session while we are away. */
const SESSION_EXPIRY_SECONDS = 7 * 24 * 3600;
/** Messages waiting for room in the queue before we stop reading from the broker altogether. */
const MAX_WAITING = 1000;
const STOP_WAIT_MS = 3000;
const SIGN_OFF_WAIT_MS = 1000;
/** MQTT 5 §3.14.2.1. */
const SESSION_TAKEN_OVER = 0x8e;

/** Calling mqtt.js back with this means: handled, and send no PUBACK. Made once; its stack would say nothing. */
const acknowledgeLater = new Error('acknowledged after the commit');

/** Resolves at once: the broker need not be reachable. @throws Error when the options contradict each other. */
export async function startMqttClient(options: MqttClientOptions): Promise<MqttSource> {
  const address = checkedAddress(options);
  const { announcement } = options.router;
  const announcedMs = options.clock.now();
  const will = announcement === null ? null : willOf(announcement, announcedMs);
  const source = new Source(options, address, connect(connectOptions(options, address, will)), announcedMs);
  return { status: () => source.status(), stop: () => source.stop(), fleetChanged: () => source.fleetChanged() };
}

type Will = NonNullable<IClientOptions['will']>;

/** What the broker says in our name when we are gone without a word. */
function willOf({ topic, payload }: Announcement, atMs: number): Will {
  return { topic, payload: Buffer.from(payload(false, atMs)), qos: 1, retain: true };
}

function checkedAddress({ url, ca }: MqttClientOptions): URL {
  const address = URL.canParse(url) ? new URL(url) : null;
  if (address === null || (address.protocol !== 'mqtt:' && address.protocol !== 'mqtts:')) throw new Error(`broker address "${url.replace(/\/\/.*@/, '//…@')}": write mqtt://host:1883, or mqtts://host:8883 for TLS`);
  if (ca !== null && address.protocol === 'mqtt:') throw new Error('a CA file is set, but the broker address begins with mqtt://; write mqtts:// to use TLS');
  if (address.username !== '' || address.password !== '') throw new Error('the broker address contains a user or password; set user and passwordEnv instead');
  return address;
}

function connectOptions(options: MqttClientOptions, address: URL, will: Will | null): IClientOptions {
  const tls = address.protocol === 'mqtts:';
  return {
    protocol: tls ? 'mqtts' : 'mqtt',
    host: address.hostname.replace(/^\[|\]$/g, ''),
    port: address.port === '' ? (tls ? 8883 : 1883) : Number(address.port),
    clientId: options.clientId,
    protocolVersion: options.protocolVersion,
    clean: false,
    keepalive: KEEPALIVE_SECONDS,
    reconnectPeriod: RETRY_FIRST_MS,
    // A refused login may be put right on the broker's side: go on trying, ever more slowly.
    reconnectOnConnackError: true,
    connectTimeout: 15_000,
    // Its own trace of every step costs a tenth of a message's way even when nobody reads it.
    log: () => undefined,
    // We subscribe ourselves on every connection, and look at what was granted.
    resubscribe: false,
    ...(options.user === null ? {} : { username: options.user }),
    ...(options.password === null ? {} : { password: options.password }),
    ...(options.ca === null ? {} : { ca: options.ca }),
    ...(will === null ? {} : { will }),
    ...(options.protocolVersion === 5 ? { properties: { sessionExpiryInterval: SESSION_EXPIRY_SECONDS } } : {}),
  };
}

class Source {
  readonly #options: MqttClientOptions;
  readonly #address: URL;
  readonly #client: MqttClient;
  readonly #handOver: HandOver;
  readonly #tell: ReturnType<typeof foldEvents>;
  /** Of the connection that stands, or stood last. */
  #acks: Acks;
  #state: SourceStatus['state'] = 'down';
  #sinceMs: number;
  #why: string | null = 'not connected yet';
  /** What the library last complained of; explains the close that follows. */
  #reason: string | null = null;
  #everConnected = false;
  #outageTold = false;
  #retryMs = RETRY_FIRST_MS;
  #messages = 0;
  #lastMessageMs: number | null = null;
  #retainedIgnored = 0;
  #paused: (() => void)[] = [];
  #stopping = false;
  /** Stands in the will of this connection, and in what is said when it begins (Sparkplug 3.0.0 wants them equal). */
  #announcedMs: number;
  #downSinceMs: number | null;
  #subscribed: readonly string[] = [];

  constructor(options: MqttClientOptions, address: URL, client: MqttClient, announcedMs: number) {
    this.#announcedMs = announcedMs;
    this.#options = options;
    this.#address = address;
    this.#client = client;
    this.#sinceMs = options.clock.now();
    this.#downSinceMs = this.#sinceMs;
    this.#tell = foldEvents(options.onEvent);
    this.#handOver = new HandOver(options.deliver, options.clock, () => this.#resume());
    this.#acks = new Acks(client);
    this.#listen();
  }

  status(): SourceStatus {
    return {
      broker: 'external', address: `${this.#address.protocol}//${this.#address.host}`, state: this.#state, sinceMs: this.#sinceMs, why: this.#why, clients: null,
      messages: this.#messages, lastMessageMs: this.#lastMessageMs, retainedIgnored: this.#retainedIgnored,
      droppedQos0: this.#handOver.droppedQos0, underWay: this.#handOver.underWay, waiting: this.#handOver.waiting,
    };
  }

  async stop(): Promise<void> {
    if (this.#stopping) return;
    this.#stopping = true;
    this.#handOver.close();
    await this.#handOver.settled(STOP_WAIT_MS);
    this.#acks.flush();
    await this.#signOff();
    // A connected client says goodbye; one that is trying to connect just stops trying.
    await this.#client.endAsync(!this.#client.connected);
    this.#turn('stopped', null);
  }

  fleetChanged(): void {
    if (this.#client.connected && !this.#stopping) this.#subscribe(true);
  }

  #listen(): void {
    const client = this.#client;
    client.handleMessage = (packet, callback) => this.#take(packet, callback);
    client.on('connect', (packet) => this.#connected(packet.sessionPresent === true));
    client.on('error', (error) => {
      // mosquitto turns a client away whose will it may not write, with the same words as for a wrong password.
      const also = this.#options.router.announcement !== null && /not authorized/i.test(error.message) ? `; this user must also be allowed to write ${this.#options.router.announcement.topic}` : '';
      this.#reason = `${errorText(error)}${also}`;
    });
    client.on('disconnect', ({ reasonCode }) => {
      this.#reason = reasonCode === SESSION_TAKEN_OVER ? `another program uses the client id ${this.#options.clientId}` : `the broker ended the connection (reason ${reasonCode})`;
    });
    client.on('close', () => this.#disconnected());
    client.on('reconnect', () => {
      this.#retryMs = Math.min(this.#retryMs * 2, RETRY_MOST_MS);
      client.options.reconnectPeriod = this.#retryMs;
      const { announcement } = this.#options.router;
      if (announcement === null) return;
      this.#announcedMs = this.#options.clock.now();
      client.options.will = willOf(announcement, this.#announcedMs);
    });
    client.on('packetreceive', () => this.#calm());
  }

  #take(packet: Parameters<MqttClient['handleMessage']>[0], callback: (error?: Error) => void): void {
    const { topic, payload, qos, messageId } = packet;
    if (this.#stopping) {
      // Neither taken nor acknowledged: the broker keeps it for the next start.
      callback(acknowledgeLater);
      return;
    }
    if (topic === this.#options.router.announcement?.topic) {
      // The will of an earlier connection may come after our word: say it again (Sparkplug 3.0.0, chapter 5).
      if (!packet.retain && isSignOff(payload)) this.#announce();
      callback();
      return;
    }
    const arrivedMs = this.#options.clock.now();
    this.#messages += 1;
    this.#lastMessageMs = arrivedMs;
    if (packet.retain) this.#retainedIgnored += 1;
    const bytes = typeof payload === 'string' ? Buffer.from(payload) : payload;
    const routed = this.#options.router.route({ topic, bytes, arrivedMs, retain: packet.retain });
    this.#publish(routed.ask ?? []);
    if (carriesNothing(routed)) {
      callback();
    } else if (qos === 0 || messageId === undefined) {
      this.#handOver.putOrDrop(routed, arrivedMs, topic);
      callback();
    } else {
      this.#handOver.put(routed, arrivedMs, this.#acks, messageId);
      if (this.#handOver.waiting < MAX_WAITING) callback(acknowledgeLater);
      else this.#paused.push(() => callback(acknowledgeLater));
    }
  }

  #resume(): void {
    if (this.#handOver.waiting >= MAX_WAITING) return;
    const paused = this.#paused;
    this.#paused = [];
    for (const go of paused) go();
  }

  #connected(sessionPresent: boolean): void {
    const atMs = this.#options.clock.now();
    const { clientId } = this.#options;
    this.#turn('up', null);
    if (this.#downSinceMs !== null) this.#options.onReconnected?.(this.#downSinceMs);
    this.#downSinceMs = null;
    const live = new Acks(this.#client);
    this.#acks = live;
    // The broker sends unacknowledged messages of the session again; what waits from before would only double them.
    if (sessionPresent) this.#handOver.forget((to) => to !== live);
    if (!sessionPresent) {
      this.#tell(this.#everConnected
        ? { kind: 'session-lost', atMs, who: clientId, topic: null, text: 'The broker has forgotten our session (was it restarted without persistence?): readings published while we were disconnected are lost unless their senders kept them.' }
        : { kind: 'session-new', atMs, who: clientId, topic: null, text: 'The broker has started a new session for us: it held no readings from before. That is normal at the very first start, and a gap otherwise.' });
    }
    if (this.#outageTold || !this.#everConnected) this.#tell({ kind: 'connected', atMs, who: clientId, topic: null, text: `Connected to the broker ${this.#address.host}.` });
    this.#everConnected = true;
    this.#outageTold = false;
    this.#subscribe(sessionPresent);
  }

  #subscribe(sessionPresent: boolean): void {
    const { router } = this.#options;
    const subscriptions = [...router.subscriptions, ...(router.announcement === null ? [] : [router.announcement.topic])];
    const gone = this.#subscribed.filter((filter) => !subscriptions.includes(filter));
    // A filter the broker keeps sending is harmless: what no point reads is told apart from what one does.
    if (gone.length > 0) this.#client.unsubscribe([...gone], () => undefined);
    this.#subscribed = subscriptions;
    if (subscriptions.length === 0) return;
    // Retain handling 2: stored messages are not sent on subscribing; they are no readings (MQTT 5 §3.8.3.1).
    this.#client.subscribe([...subscriptions], this.#options.protocolVersion === 5 ? { qos: 1, rh: 2 } : { qos: 1 }, (error, requested, suback) => {
      if (suback === undefined) {
        // No answer: the connection has gone, which is told elsewhere, unless it has not.
        if (error && this.#client.connected && !this.#stopping) this.#subscribeRefused(subscriptions.join(', '), error.message);
        return;
      }
      // The answers stand in the order of the requests [MQTT-3.9.3-1].
      suback.granted.forEach((grant, index) => this.#checkGrant(requested?.[index]?.topic ?? '?', Number(grant)));
      // In this order: we listen, we say so, and then we ask those who were there before us.
      this.#announce();
      this.#publish(router.connected(this.#options.clock.now(), sessionPresent));
    });
  }

  #checkGrant(topic: string, grant: number): void {
    if (grant >= 128) this.#subscribeRefused(topic, `reason ${grant}`);
    else if (grant === 0) this.#subscribeRefused(topic, 'it grants QoS 0 only, at which readings can be lost');
  }

  #subscribeRefused(topic: string, why: string): void {
    this.#tell({ kind: 'subscribe-refused', atMs: this.#options.clock.now(), who: this.#options.clientId, topic, text: `The broker does not let us read ${topic}: ${why}. Allow it for this user on the broker.` });
    this.#why = `the broker refuses the subscription to ${topic}: ${why}`;
  }

  #publish(publications: readonly Publication[]): void {
    // At QoS 0: what cannot go out now would be outdated later.
    for (const { topic, payload } of publications) if (this.#client.connected) this.#client.publish(topic, Buffer.from(payload), { qos: 0 });
  }

  #announce(): void {
    const { announcement } = this.#options.router;
    if (announcement !== null && this.#client.connected && !this.#stopping) this.#client.publish(announcement.topic, announcement.payload(true, this.#announcedMs), { qos: 1, retain: true });
  }

  /** A farewell is no accident: the broker drops the will, so we say ourselves that nobody listens any more. */
  async #signOff(): Promise<void> {
    const { router, clock } = this.#options;
    if (router.announcement === null || !this.#client.connected) return;
    const said = this.#client.publishAsync(router.announcement.topic, router.announcement.payload(false, clock.now()), { qos: 1, retain: true }).catch(() => undefined);
    await Promise.race([said, clock.sleep(SIGN_OFF_WAIT_MS)]);
  }

  #disconnected(): void {
    // Callbacks of the dead connection: its reader is gone with it.
    this.#paused = [];
    if (this.#stopping) return;
    this.#downSinceMs ??= this.#options.clock.now();
    this.#turn('down', this.#reason ?? (this.#state === 'up' ? 'the broker or the network closed the connection' : this.#why));
    this.#reason = null;
    if (this.#outageTold) return;
    this.#outageTold = true;
    this.#tell({ kind: 'disconnected', atMs: this.#options.clock.now(), who: this.#options.clientId, topic: null, text: `No connection to the broker ${this.#address.host}: ${this.#why ?? 'closed'}. Trying again.` });
  }

  #calm(): void {
    if (this.#retryMs === RETRY_FIRST_MS || this.#state !== 'up' || this.#options.clock.now() - this.#sinceMs < STABLE_MS) return;
    this.#retryMs = RETRY_FIRST_MS;
    this.#client.options.reconnectPeriod = RETRY_FIRST_MS;
  }

  #turn(state: SourceStatus['state'], why: string | null): void {
    if (this.#state !== state) this.#sinceMs = this.#options.clock.now();
    this.#state = state;
    this.#why = why;
  }
}

/**
 * PUBACKs of committed messages of one connection, written together once the commit has told of all of them. Those of a connection that is gone
 * are dropped: the broker has forgotten their packet ids.
 */
class Acks implements Acknowledger {
  readonly #client: MqttClient;
  readonly #stream: MqttClient['stream'];
  #ids: number[] = [];

  constructor(client: MqttClient) {
    this.#client = client;
    this.#stream = client.stream;
  }

  acknowledge(messageId: number): void {
    this.#ids.push(messageId);
    // The engine tells of a whole batch in one go; the microtask runs after it.
    if (this.#ids.length === 1) queueMicrotask(() => this.flush());
  }

  flush(): void {
    const ids = this.#ids;
    this.#ids = [];
    if (ids.length === 0 || this.#stream !== this.#client.stream || !this.#client.connected || this.#stream.destroyed) return;
    this.#stream.write(pubacks(ids));
  }
}

function isSignOff(payload: string | Buffer): boolean {
  return /"online"\s*:\s*false/.test(payload.toString());
}

/** Several addresses of one host fail together as an AggregateError with an empty message. */
function errorText(error: Error): string {
  if (error.message !== '') return error.message;
  return error instanceof AggregateError && error.errors[0] instanceof Error ? error.errors[0].message : error.name;
}
