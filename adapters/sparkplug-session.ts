/**
 * What a host application must remember to read Sparkplug (Eclipse Sparkplug 3.0.0, chapters 4–6): births name what data later calls by number;
 * sequence numbers tell when a message was lost; deaths take every value of a node with them.
 *
 * - First sequence number: the specification says both "0" and "between 0 and 255"; any is taken, then counted.
 * - A gap is answered with a rebirth request at once, not after waiting for stragglers: with one broker and QoS 0 there are hardly any. Data goes on
 *   being read meanwhile by the names of the last birth: a node that has changed its names without dying first would be misread until it
 *   is born again, which a gap alone does not make likely.
 * - Nothing is read from a node before its birth, or after its death: it is asked to be born again, ever less often while it does not listen.
 * - What no point reads is handed on to be kept by its name (`sparkplug-unread.ts`), so that it can be claimed. A gateway that no point reads is asked for its
 *   birth all the same, since only that says what its numbers mean; whether a message of it was lost is of no interest.
 * - What is remembered is bounded: nodes and devices of the fleet, no more names of each than one birth may hold, and of all others so many (`MAX_…`).
 */
import type { PresenceChange } from '../src/domain/presence.ts';
import type { Sample } from '../src/domain/reading.ts';
import { UNCLAIMED_SOURCES, type UnclaimedMessage } from '../src/domain/unclaimed.ts';
import type { AddressedField, Announcement, MessageFacts, Publication, Session, SessionDecoded } from './contract.ts';
import { excerpt } from './contract.ts';
import { RefusalList } from './fold-refusals.ts';
import { shorten } from './source.ts';
import { addressOf, commandTopic, NAMESPACE, parseAddress, parseTopic, type SparkplugTopic, stateTopic } from './sparkplug-address.ts';
import { type KeptMetric, keptMetric } from './sparkplug-kept.ts';
import { UnreadMetrics } from './sparkplug-unread.ts';
import { datatypeNames, metricValue, readPayload, rebirthCommand, type SparkplugMetric, type SparkplugPayload } from './sparkplug-payload.ts';

export interface SparkplugOptions {
  readonly metric: string;
}

/** Nodes and devices no point reads that are remembered: as many as are kept to be claimed. */
const MAX_STRANGERS = UNCLAIMED_SOURCES;
/** Names remembered that no point reads, of all gateways together. */
const MAX_UNREAD_NAMES = 20_000;

const ASK_FIRST_MS = 10_000;
const ASK_MOST_MS = 5 * 60_000;
/** Bounds within which a gateway's own time of what it tells of itself is believed. */
const AHEAD_MS = 2 * 60_000;
const BACK_MS = 24 * 3_600_000;

interface Metric {
  readonly name: string;
  readonly datatype: number | null;
  readonly device: Device;
}

/** A device, or the edge node itself (`id` is `null`). */
interface Device {
  readonly id: string | null;
  /** Metric name → points. */
  readonly points: Map<string, string[]>;
  readonly unread: UnreadMetrics;
  born: boolean;
}

interface Node {
  readonly group: string;
  readonly edgeNode: string;
  /** For people: `group/edge node`. */
  readonly title: string;
  /** By device id; the node itself under `null`. */
  readonly devices: Map<string | null, Device>;
  readonly byAlias: Map<string, Metric>;
  readonly byName: Map<string, Metric>;
  /** `born`: between NBIRTH and NDEATH. */
  life: 'unknown' | 'born' | 'dead';
  bdSeq: bigint | null;
  nextSeq: number | null;
  askedMs: number | null;
  asks: number;
}

interface Outcome {
  readonly samples: Sample[];
  readonly refusals: RefusalList;
  readonly presence: PresenceChange[];
  readonly ask: Publication[];
  readonly unclaimed: UnclaimedMessage[];
  /** Metrics of this message that no point reads. */
  readonly unread: KeptMetric[];
}

export function openSparkplug(fields: readonly AddressedField<SparkplugOptions>[], hostId: string, groups: readonly string[] = []): Session {
  return new SparkplugSession(fields, hostId, groups);
}

class SparkplugSession implements Session {
  readonly subscriptions: readonly string[];
  readonly announcement: Announcement;
  readonly #nodes = new Map<string, Node>();
  readonly #groups: ReadonlySet<string>;

  constructor(fields: readonly AddressedField<SparkplugOptions>[], hostId: string, groups: readonly string[]) {
    for (const { address, pointId, options } of fields) {
      const parsed = parseAddress(address);
      if ('problem' in parsed) throw new Error(`${parsed.problem}; addresses must be checked before a session is opened`);
      const device = deviceOf(this.#nodeFor(parsed.group, parsed.edgeNode), parsed.device);
      device.points.set(options.metric, [...(device.points.get(options.metric) ?? []), pointId]);
    }
    this.#groups = new Set([...groups, ...[...this.#nodes.values()].map(({ group }) => group)]);
    this.subscriptions = [...this.#groups].map((group) => `${NAMESPACE}/${group}/#`);
    this.announcement = { topic: stateTopic(hostId), payload: (online, atMs) => JSON.stringify({ online, timestamp: atMs }) };
  }

  claims(topic: string): boolean {
    const parsed = parseTopic(topic);
    return parsed !== null && this.#groups.has(parsed.group);
  }

  connected(atMs: number, sessionKept: boolean): readonly Publication[] {
    const ask: Publication[] = [];
    for (const node of this.#nodes.values()) {
      node.nextSeq = null;
      // A death is kept for us (QoS 1) while our session is; without it, what the numbers meant may be over.
      if (!sessionKept && node.life === 'born') bury(node, 'unknown');
      node.askedMs = null;
      node.asks = 0;
      this.#askAgain(node, atMs, ask);
    }
    return ask;
  }

  decode(bytes: Uint8Array, { topic, arrivedMs }: MessageFacts): SessionDecoded {
    const source = shorten(topic, 200);
    const out: Outcome = { samples: [], refusals: new RefusalList(source, () => excerpt(bytes)), presence: [], ask: [], unclaimed: [], unread: [] };
    const to = parseTopic(topic);
    // Commands of other hosts are not for us.
    if (to !== null && to.type !== 'NCMD' && to.type !== 'DCMD') this.#take(bytes, to, arrivedMs, out);
    return { samples: out.samples, refusals: out.refusals.list, presence: out.presence, ask: out.ask, ...(out.unclaimed.length > 0 ? { unclaimed: out.unclaimed } : {}) };
  }

  resume(before: Session, atMs: number): readonly PresenceChange[] {
    if (!(before instanceof SparkplugSession)) return [];
    const presence: PresenceChange[] = [];
    for (const old of before.#nodes.values()) {
      if (!this.#groups.has(old.group)) continue;
      const node = this.#nodeFor(old.group, old.edgeNode);
      node.life = old.life;
      node.bdSeq = old.bdSeq;
      node.nextSeq = old.nextSeq;
      node.askedMs = old.askedMs;
      node.asks = old.asks;
      for (const { id, born, unread } of old.devices.values()) {
        const device: Device = { ...deviceOf(node, id), born, unread };
        node.devices.set(id, device);
        for (const name of device.points.keys()) unread.forget(name);
      }
      const added = [...node.devices.values()].flatMap(({ id, points }) => [...points].flatMap(([name, pointIds]) => (old.devices.get(id)?.points.has(name) === true ? [] : pointIds)));
      if (node.life === 'dead' && added.length > 0) presence.push({ pointIds: added, state: 'offline', atMs, why: `its gateway ${node.title} is offline`, journal: null });
      const meaning = ({ name, datatype, device }: Metric): Metric => ({ name, datatype, device: deviceOf(node, device.id) });
      for (const [alias, metric] of old.byAlias) node.byAlias.set(alias, meaning(metric));
      for (const [key, metric] of old.byName) node.byName.set(key, meaning(metric));
    }
    return presence;
  }

  #take(bytes: Uint8Array, to: SparkplugTopic, arrivedMs: number, out: Outcome): void {
    const known = this.#nodes.get(`${to.group}/${to.edgeNode}`);
    const read = readPayload(bytes);
    if (!read.ok) {
      // A death needs no words: the topic says it all.
      if (known !== undefined && to.type === 'NDEATH') this.#nodeDied(known, null, arrivedMs, out);
      out.refusals.add(null, read.reason);
      return;
    }
    const node = known ?? this.#newNode(to);
    if (node === null) {
      if (to.type !== 'NDEATH') out.refusals.add(null, unclaimedNode(to, read.payload));
      return;
    }
    switch (to.type) {
      case 'NDEATH':
        return this.#nodeDied(node, bdSeqOf(read.payload), arrivedMs, out);
      case 'NBIRTH':
        return this.#nodeBorn(node, read.payload, arrivedMs, out);
      default:
        return this.#fromWithin(node, to, read.payload, arrivedMs, out);
    }
  }

  #nodeBorn(node: Node, payload: SparkplugPayload, arrivedMs: number, out: Outcome): void {
    bury(node, 'born');
    node.bdSeq = bdSeqOf(payload);
    node.nextSeq = after(payload.seq);
    node.askedMs = null;
    node.asks = 0;
    const itself = this.#deviceFor(node, null);
    if (itself === null) return;
    itself.born = true;
    itself.unread.clear();
    register(node, itself, payload, this.#unreadRoom(), out);
    this.#born(node, itself, payload, arrivedMs, out);
  }

  #nodeDied(node: Node, bdSeq: bigint | null, arrivedMs: number, out: Outcome): void {
    // A late or repeated will: of an earlier connection, or of a death that was told already.
    if (node.life === 'dead' || (node.life === 'born' && bdSeq !== null && node.bdSeq !== null && bdSeq !== node.bdSeq)) return;
    if (isStranger(node)) {
      this.#nodes.delete(node.title);
      return;
    }
    bury(node, 'dead');
    node.bdSeq = bdSeq;
    // The host's own time: a will was written when the node connected (chapter 5).
    out.presence.push(offline([...node.devices.values()].flatMap(pointsOf), arrivedMs, `its gateway ${node.title} is offline`, `Gateway ${node.title} is offline: all of its points are unknown`));
  }

  /** Everything that counts in the node's sequence beside its own birth. */
  #fromWithin(node: Node, to: SparkplugTopic, payload: SparkplugPayload, arrivedMs: number, out: Outcome): void {
    if (node.life !== 'born') {
      out.refusals.add(null, `gateway ${node.title} sends, and its birth certificate (NBIRTH) has not been seen; it has been asked for it. If this goes on, let the gateway receive ${commandTopic(node)}, and this service write there`);
      this.#askAgain(node, arrivedMs, out.ask);
      return;
    }
    const lost = node.nextSeq !== null && payload.seq !== null && payload.seq !== node.nextSeq;
    if (lost && !isStranger(node)) {
      out.refusals.add(null, `a message of gateway ${node.title} was lost on the way (its sequence numbers have a gap); it has been asked to send everything anew`);
      this.#askAgain(node, arrivedMs, out.ask);
    }
    node.nextSeq = after(payload.seq);
    const device = this.#deviceFor(node, to.device);
    if (device === null) {
      // Its births are worth a word: they say what could be claimed.
      if (to.type === 'DBIRTH') out.refusals.add(null, unclaimedNode(to, payload));
      return;
    }
    switch (to.type) {
      case 'DBIRTH':
        forget(node, device);
        device.born = true;
        device.unread.clear();
        register(node, device, payload, this.#unreadRoom(), out);
        return this.#born(node, device, payload, arrivedMs, out);
      case 'DDEATH':
        return this.#deviceDied(node, device, payload, arrivedMs, out);
      default:
        if (device.born) return this.#data(node, device, payload, arrivedMs, out);
        out.refusals.add(null, `device ${node.title}/${device.id} sends, and its birth certificate (DBIRTH) has not been seen; its gateway has been asked for it`);
        return this.#askAgain(node, arrivedMs, out.ask);
    }
  }

  #deviceDied(node: Node, device: Device, { timestampMs }: SparkplugPayload, arrivedMs: number, out: Outcome): void {
    forget(node, device);
    device.born = false;
    if (device.points.size === 0) {
      node.devices.delete(device.id);
      return;
    }
    out.presence.push(offline(pointsOf(device), believable(timestampMs, arrivedMs), `its device ${node.title}/${device.id} is offline`, `Device ${node.title}/${device.id} is offline: its points are unknown`));
  }

  #born(node: Node, device: Device, payload: SparkplugPayload, arrivedMs: number, out: Outcome): void {
    const title = titleOf(node, device);
    const sent = new Set(payload.metrics.map(({ name }) => name));
    const back: string[] = [];
    for (const [name, pointIds] of device.points) {
      if (sent.has(name)) back.push(...pointIds);
      else for (const pointId of pointIds) out.refusals.add(pointId, `the birth of ${title} holds no metric "${name}"; it holds ${listed(payload.metrics)}`);
    }
    if (back.length > 0) out.presence.push({ pointIds: back, state: 'online', atMs: arrivedMs, why: '', journal: `${title.charAt(0).toUpperCase()}${title.slice(1)} is back` });
    for (const metric of payload.metrics) {
      if (metric.name !== null) this.#read(metric, { name: metric.name, datatype: metric.datatype, device }, node, device, payload, arrivedMs, out);
    }
    handOn(node, device, arrivedMs, out);
  }

  #data(node: Node, device: Device, payload: SparkplugPayload, arrivedMs: number, out: Outcome): void {
    for (const metric of payload.metrics) {
      const known = metric.name !== null ? node.byName.get(nameKey(device, metric.name)) : metric.alias === null ? undefined : node.byAlias.get(metric.alias);
      if (known === undefined && metric.name === null) out.refusals.add(null, `${titleOf(node, device)} sent a metric under a number (alias) that its birth did not name`);
      else this.#read(metric, known ?? { name: metric.name ?? '', datatype: null, device }, node, device, payload, arrivedMs, out);
    }
    handOn(node, device, arrivedMs, out);
  }

  /** @param from the device whose message it is. */
  #read(metric: SparkplugMetric, known: Metric, node: Node, from: Device, payload: SparkplugPayload, arrivedMs: number, out: Outcome): void {
    const pointIds = known.device.points.get(known.name) ?? [];
    const stamp = metric.timestampMs ?? payload.timestampMs;
    const atMs = stamp !== null && Number.isSafeInteger(stamp) ? stamp : null;
    if (pointIds.length === 0) {
      // Only what the birth named, and there was room to remember, is taken: names without end are a mistake.
      const isNamed = known.device === from && !isOwn(known.name) && node.byName.has(nameKey(from, known.name));
      const kept = isNamed ? keptMetric(metric, known.name, metric.datatype ?? known.datatype, atMs) : null;
      if (kept !== null) out.unread.push(kept);
      return;
    }
    if (metric.isNull) {
      // In the past there was no value: that says nothing of now.
      if (!metric.isHistorical) out.presence.push({ pointIds, state: 'offline', atMs: believable(atMs, arrivedMs), why: 'its gateway reports no value', journal: null });
      return;
    }
    const value = metricValue(metric, metric.datatype ?? known.datatype);
    for (const pointId of pointIds) {
      if (value.ok) out.samples.push({ pointId, atMs, value: value.value, unit: null, ...(metric.isHistorical ? { historical: true as const } : {}) });
      else out.refusals.add(pointId, `metric "${known.name}": ${value.reason}`);
    }
  }

  #askAgain(node: Node, atMs: number, ask: Publication[]): void {
    if (node.askedMs !== null && atMs - node.askedMs < Math.min(ASK_FIRST_MS * 2 ** (node.asks - 1), ASK_MOST_MS)) return;
    node.askedMs = atMs;
    node.asks += 1;
    ask.push({ topic: commandTopic(node), payload: rebirthCommand(atMs) });
  }

  /** A node no point reads; `null`: there are too many of them. */
  #newNode({ type, group, edgeNode }: SparkplugTopic): Node | null {
    return type === 'NDEATH' || this.#strangers() >= MAX_STRANGERS ? null : this.#nodeFor(group, edgeNode);
  }

  #deviceFor(node: Node, id: string | null): Device | null {
    const known = node.devices.get(id);
    if (known !== undefined) return known;
    // The first device of a node takes the place that the node has already.
    const others = this.#strangers() - (node.devices.size === 0 ? 1 : 0);
    return others >= MAX_STRANGERS ? null : deviceOf(node, id);
  }

  /** Nodes without a device count as well: they are remembered, too. */
  #strangers(): number {
    let count = 0;
    for (const node of this.#nodes.values()) {
      if (node.devices.size === 0) count += 1;
      for (const { points } of node.devices.values()) if (points.size === 0) count += 1;
    }
    return count;
  }

  #unreadRoom(): number {
    let names = 0;
    for (const { byName } of this.#nodes.values()) names += byName.size;
    return MAX_UNREAD_NAMES - names;
  }

  #nodeFor(group: string, edgeNode: string): Node {
    const title = `${group}/${edgeNode}`;
    const known = this.#nodes.get(title);
    if (known !== undefined) return known;
    const node: Node = { group, edgeNode, title, devices: new Map(), byAlias: new Map(), byName: new Map(), life: 'unknown', bdSeq: null, nextSeq: null, askedMs: null, asks: 0 };
    this.#nodes.set(title, node);
    return node;
  }
}

function deviceOf(node: Node, id: string | null): Device {
  const known = node.devices.get(id);
  if (known !== undefined) return known;
  const device: Device = { id, points: new Map(), unread: new UnreadMetrics(), born: false };
  node.devices.set(id, device);
  return device;
}

/** A time that a gateway gives for what it tells of itself; its clock may be wrong. */
const believable = (atMs: number | null, arrivedMs: number): number => (atMs !== null && atMs <= arrivedMs + AHEAD_MS && atMs >= arrivedMs - BACK_MS ? atMs : arrivedMs);

const titleOf = (node: Node, device: Device): string => (device.id === null ? `gateway ${node.title}` : `device ${node.title}/${device.id}`);
const pointsOf = ({ points }: Device): string[] => [...points.values()].flat();
const nameKey = (device: Device, name: string): string => `${device.id ?? ''}\n${name}`;
const after = (seq: number | null): number | null => (seq === null ? null : (seq + 1) % 256);

const offline = (pointIds: readonly string[], atMs: number, why: string, journal: string): PresenceChange => ({ pointIds, state: 'offline', atMs, why, journal });

/** The names of a node's earlier life mean nothing any more; those of its devices neither, until each is born again. */
function bury(node: Node, life: Node['life']): void {
  node.life = life;
  node.bdSeq = null;
  node.nextSeq = null;
  node.byAlias.clear();
  node.byName.clear();
  for (const device of [...node.devices.values()]) {
    device.born = life === 'born' && device.id === null;
    // Whatever devices it has now, their births will say.
    if (device.points.size === 0 && device.id !== null) node.devices.delete(device.id);
  }
}

function forget(node: Node, device: Device): void {
  for (const names of [node.byAlias, node.byName]) for (const [key, metric] of names) if (metric.device === device) names.delete(key);
}

/** @param room for names that no point reads. */
function register(node: Node, device: Device, payload: SparkplugPayload, room: number, out: Outcome): void {
  let left = room;
  for (const { name, alias, datatype } of payload.metrics) {
    if (name === null) {
      out.refusals.add(null, 'a birth names each of its metrics, and this one does not');
      continue;
    }
    const metric: Metric = { name, datatype, device };
    const isRead = device.points.has(name);
    if (isRead || (left > 0 && !isOwn(name))) {
      node.byName.set(nameKey(device, name), metric);
      if (!isRead) left -= 1;
    } else if (!isOwn(name)) {
      out.refusals.add(null, `gateways name more metrics than are remembered (${MAX_UNREAD_NAMES} that no point reads); of ${titleOf(node, device)} not all are offered to be claimed`);
    }
    if (alias === null) continue;
    const other = node.byAlias.get(alias);
    if (other !== undefined && other.device !== device) out.refusals.add(null, `gateway ${node.title} uses one number (alias) for two metrics of different devices; each needs its own`);
    // A number must be known to be of no interest.
    node.byAlias.set(alias, metric);
  }
}

function handOn(node: Node, device: Device, arrivedMs: number, out: Outcome): void {
  if (out.unread.length === 0) return;
  const topic = addressOf({ group: node.group, edgeNode: node.edgeNode, device: device.id });
  const partial = device.points.size > 0;
  for (const bytes of device.unread.take(out.unread, arrivedMs, partial)) out.unclaimed.push({ topic, siteId: null, arrivedMs, bytes, ...(partial ? { partial } : {}) });
}

const isStranger = ({ devices }: Node): boolean => [...devices.values()].every(({ points }) => points.size === 0);

function bdSeqOf({ metrics }: SparkplugPayload): bigint | null {
  const raw = metrics.find(({ name }) => name === 'bdSeq')?.raw;
  return raw?.type === 'integer' ? raw.value : null;
}

/** Metrics of the protocol itself. */
const isOwn = (name: string): boolean => name === 'bdSeq' || name.startsWith('Node Control/') || name.startsWith('Device Control/');

function listed(metrics: readonly SparkplugMetric[]): string {
  const names = metrics.flatMap(({ name, datatype }) => (name === null || isOwn(name) ? [] : [`"${name.slice(0, 60)}" (${datatypeNames[datatype ?? 0] ?? 'no datatype'})`]));
  return names.length === 0 ? 'none' : `${names.slice(0, 12).join(', ')}${names.length > 12 ? `, and ${names.length - 12} more` : ''}`;
}

function unclaimedNode({ group, edgeNode, device, type }: SparkplugTopic, payload: SparkplugPayload): string {
  const address = addressOf({ group, edgeNode, device });
  const holds = type === 'NBIRTH' || type === 'DBIRTH' ? ` It holds ${listed(payload.metrics)}.` : '';
  return `no point reads from ${address.slice(0, 200)}, and so many others are not read that it is not kept.${holds} To keep it, add a point with source: { topic: "${address.slice(0, 200)}", format: sparkplug, metric: … }`;
}
