/** From a message to samples: which points a topic feeds, in which format. What no point claims is handed on whole, to be kept until it is claimed. */
import type { Fleet, Point, Site } from '../src/domain/fleet.ts';
import type { Refusal, Sample } from '../src/domain/reading.ts';
import type { PresenceChange } from '../src/domain/presence.ts';
import { UNCLAIMED_MESSAGE_BYTES, type UnclaimedMessage } from '../src/domain/unclaimed.ts';
import { type Announcement, type AnyFormat, type Decode, excerpt, type Field, type Publication, type Session, type SessionDecoded, type SessionFormat } from './contract.ts';
import { type RestOfDocument, restOfDocument, restOfPack } from './rest-of-document.ts';
import { senmlParts } from './senml-fields.ts';
import { shorten } from './source.ts';
import { NAMESPACE } from './sparkplug-address.ts';

/** No reading needs more; anything larger is a picture or a mistake. */
export const MAX_PAYLOAD_BYTES = 256 * 1024;

export interface Router {
  route(message: IncomingMessage): Routed;
  /** Topic filters that bring in everything of every site, none covered by another. */
  readonly subscriptions: readonly string[];
  claims(topic: string): boolean;
  /** What to publish as soon as the connection to an external broker stands (again). */
  connected(atMs: number, sessionKept: boolean): readonly Publication[];
  /** What tells gateways whether this service listens, if any of them wants to know. */
  readonly announcement: Announcement | null;
  /** Follows on another router: what its sessions knew of gateways goes on being true, and is told of points that are new. */
  resume(before: Router, atMs: number): readonly PresenceChange[];
  /** By format. */
  readonly sessions: ReadonlyMap<string, Session>;
  /** What is claimed, topic by topic, for people. */
  explain(): readonly Claim[];
}

export interface IncomingMessage {
  readonly topic: string;
  readonly bytes: Uint8Array;
  readonly arrivedMs: number;
  /**
   * A broker's delivery of a stored message: an old value, not a fresh reading (MQTT 5 §3.3.1.3). The flag on a live publish
   * *to* our own broker is another thing and must not be passed on here.
   */
  readonly retain: boolean;
}

export interface Routed {
  readonly samples: readonly Sample[];
  readonly refusals: readonly Refusal[];
  readonly presence?: readonly PresenceChange[];
  /** To be published at once. */
  readonly ask?: readonly Publication[];
  /** The message itself, when no point claims its topic. */
  readonly unclaimed?: readonly UnclaimedMessage[];
}

export const carriesNothing = ({ samples, refusals, presence = [], unclaimed = [] }: Routed): boolean =>
  samples.length === 0 && refusals.length === 0 && presence.length === 0 && unclaimed.length === 0;

export interface Claim {
  readonly topic: string;
  readonly format: string;
  readonly looksLike: string;
  readonly pointIds: readonly string[];
}

export class RouteError extends Error {
  override readonly name = 'RouteError';
}

const nothing: Routed = { samples: [], refusals: [] };

/** @throws RouteError when a point names a format that does not exist, or two points read one topic in different formats. */
export function makeRouter(fleet: Fleet, formats: ReadonlyMap<string, AnyFormat>, hostId = 'tankbell'): Router {
  const groups = [...groupByTopic(fleet.points)].map(([topic, points]) => ({ topic, points, ...formatOf(topic, points, formats) }));
  const routes = new Map<string, Route>(groups.flatMap(({ topic, points, format }) => {
    if (!('prepare' in format)) return [];
    const rest = format.format === 'json' ? restOfDocument(topic, points.map(({ source }) => source?.options)) : format.format === 'senml' ? restOfPack() : null;
    return [[topic, { claim: claimOf(topic, format, points), decode: format.prepare(fieldsOf(points)), rest }] as const];
  }));
  const listenedTo = fleet.sites.flatMap(({ sparkplugGroup }) => (sparkplugGroup === undefined ? [] : [sparkplugGroup]));
  const sessions = [...formats.values()].flatMap((format) => {
    const gateways = groups.filter((group) => group.format === format);
    return 'open' in format && gateways.length + listenedTo.length > 0 ? [openSession(format, gateways, hostId, listenedTo)] : [];
  });
  return {
    route({ topic, bytes, arrivedMs, retain }) {
      if (retain) return nothing;
      const route = routes.get(topic) ?? sessions.find(({ session }) => session.claims(topic));
      if (bytes.length > MAX_PAYLOAD_BYTES) return refused(topic, bytes, `the message has ${bytes.length} bytes; at most ${MAX_PAYLOAD_BYTES} are read`);
      try {
        if (route === undefined) return unclaimed(fleet.sites, topic, arrivedMs, senmlParts(bytes, arrivedMs, UNCLAIMED_MESSAGE_BYTES));
        if ('session' in route) return withSites(fleet.sites, route.session.decode(bytes, { topic, arrivedMs }));
        const routed = route.decode(bytes, { topic, arrivedMs });
        if (route.rest === null) return routed;
        const rest = route.rest.take(bytes, arrivedMs, routed);
        return rest.length === 0 ? routed : { ...unclaimed(fleet.sites, topic, arrivedMs, rest, true), ...routed };
      } catch (error) {
        // A format must not throw. If one does, the message is refused in the open rather than redelivered for ever.
        return refused(topic, bytes, `format ${route === undefined ? 'senml' : 'session' in route ? route.format : route.claim.format} failed on this message (a fault in Tankbell, please report it): ${String(error)}`);
      }
    },
    subscriptions: subscriptionsOf(fleet.sites, [...routes.keys(), ...sessions.flatMap(({ session }) => session.subscriptions)]),
    claims: (topic) => routes.has(topic),
    connected: (atMs, sessionKept) => sessions.flatMap(({ session }) => session.connected(atMs, sessionKept)),
    announcement: sessions.find(({ session }) => session.announcement !== null)?.session.announcement ?? null,
    resume: (before, atMs) => sessions.flatMap(({ format, session }) => {
      const earlier = before.sessions.get(format);
      return earlier === undefined ? [] : session.resume(earlier, atMs);
    }),
    sessions: new Map(sessions.map(({ format, session }) => [format, session])),
    explain: () => groups.map(({ topic, points, format }) => claimOf(topic, format, points)),
  };
}

function groupByTopic(points: readonly Point[]): ReadonlyMap<string, Point[]> {
  const groups = new Map<string, Point[]>();
  for (const point of points) {
    if (point.source === null) continue;
    const group = groups.get(point.source.topic);
    if (group === undefined) groups.set(point.source.topic, [point]);
    else group.push(point);
  }
  return groups;
}

interface OpenSession {
  readonly format: string;
  readonly session: Session;
}

interface Route {
  readonly claim: Claim;
  readonly decode: Decode;
  /** Looks for values of the document that none of its points reads; `null` for formats whose message is one value. */
  readonly rest: RestOfDocument | null;
}

function formatOf(topic: string, points: readonly Point[], formats: ReadonlyMap<string, AnyFormat>): { readonly format: AnyFormat } {
  const names = [...new Set(points.map((point) => point.source?.format ?? ''))];
  const [name = ''] = names;
  if (names.length > 1) throw new RouteError(`topic ${topic} is read as ${names.join(' and as ')} (points ${points.map(({ id }) => id).join(', ')}); one topic has one format`);
  const format = formats.get(name);
  if (format === undefined) throw new RouteError(`point ${points[0]?.id}: there is no format "${name}"; there is ${[...formats.keys()].join(', ')}`);
  return { format };
}

const fieldsOf = (points: readonly Point[]): readonly Field[] => points.map((point) => ({ pointId: point.id, options: point.source?.options }));

function claimOf(topic: string, { format, looksLike }: AnyFormat, points: readonly Point[]): Claim {
  return { topic, format, looksLike, pointIds: points.map(({ id }) => id) };
}

function openSession(format: SessionFormat, groups: readonly { readonly topic: string; readonly points: readonly Point[] }[], hostId: string, listenedTo: readonly string[]): OpenSession {
  for (const { topic, points } of groups) {
    const problem = format.addressProblem(topic);
    if (problem !== null) throw new RouteError(`point ${points[0]?.id}: ${problem.problem}; ${problem.fix}`);
  }
  const fields = groups.flatMap(({ topic, points }) => fieldsOf(points).map((field) => ({ ...field, address: topic })));
  return { format: format.format, session: format.open(fields, hostId, listenedTo) };
}

function unclaimed(sites: readonly Site[], topic: string, arrivedMs: number, payloads: readonly Uint8Array[], partial = false): Routed {
  const siteId = siteOf(sites, topic)?.id ?? null;
  return { samples: [], refusals: [], unclaimed: payloads.map((bytes) => ({ topic, siteId, arrivedMs, bytes: bytes.length > UNCLAIMED_MESSAGE_BYTES ? tooLong : bytes, ...(partial ? { partial } : {}) })) };
}

/** Stands for a message that is not kept for its length, so that those that wait for the disk hold no memory for it. */
const tooLong = new Uint8Array(UNCLAIMED_MESSAGE_BYTES + 1);

function withSites(sites: readonly Site[], decoded: SessionDecoded): Routed {
  return decoded.unclaimed === undefined ? decoded : { ...decoded, unclaimed: decoded.unclaimed.map((message) => ({ ...message, siteId: siteOf(sites, message.topic)?.id ?? null })) };
}

function refused(topic: string, bytes: Uint8Array, reason: string): Routed {
  return { samples: [], refusals: [{ source: shorten(topic, 200), pointId: null, reason, excerpt: excerpt(bytes) }] };
}

function siteOf(sites: readonly Site[], topic: string): Site | null {
  return sites.find(({ topics, sparkplugGroup }) => (topics !== '' && topic.startsWith(topics)) || (sparkplugGroup !== undefined && topic.startsWith(`${NAMESPACE}/${sparkplugGroup}/`))) ?? null;
}

/** Overlapping filters would bring messages twice (MQTT 5 §3.3.4), so a covered one is left out. */
function subscriptionsOf(sites: readonly Site[], topics: readonly string[]): readonly string[] {
  const prefixes = [...new Set(sites.map((site) => site.topics).filter((prefix) => prefix !== ''))];
  const widest = prefixes.filter((prefix) => !prefixes.some((other) => other !== prefix && prefix.startsWith(other)));
  const loose = [...new Set(topics)].filter((topic) => !widest.some((prefix) => topic.startsWith(prefix)));
  return [...widest.map((prefix) => `${prefix}#`), ...loose];
}
