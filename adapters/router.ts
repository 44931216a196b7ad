/** From a message to samples: which points a topic feeds, in which format. What no point claims is handed on whole, to be kept until it is claimed. */
import type { Fleet, Point, Site } from '../src/domain/fleet.ts';
import type { Refusal, Sample } from '../src/domain/reading.ts';
import type { UnclaimedMessage } from '../src/domain/unclaimed.ts';
import { type Decode, excerpt, type Field, type PayloadFormat } from './contract.ts';
import { type RestOfDocument, restOfDocument } from './rest-of-document.ts';
import { shorten } from './source.ts';

/** No reading needs more; anything larger is a picture or a mistake. */
export const MAX_PAYLOAD_BYTES = 256 * 1024;

export interface Router {
  route(message: IncomingMessage): Routed;
  /** Topic filters that bring in everything of every site, none covered by another. */
  readonly subscriptions: readonly string[];
  claims(topic: string): boolean;
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
  /** The message itself, when no point claims its topic. */
  readonly unclaimed?: readonly UnclaimedMessage[];
}

export const carriesNothing = ({ samples, refusals, unclaimed = [] }: Routed): boolean => samples.length === 0 && refusals.length === 0 && unclaimed.length === 0;

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
export function makeRouter(fleet: Fleet, formats: ReadonlyMap<string, PayloadFormat>): Router {
  const routes = new Map([...groupByTopic(fleet.points)].map(([topic, points]) => [topic, prepareRoute(topic, points, formats)]));
  return {
    route({ topic, bytes, arrivedMs, retain }) {
      if (retain) return nothing;
      const route = routes.get(topic);
      if (bytes.length > MAX_PAYLOAD_BYTES) return refused(topic, bytes, `the message has ${bytes.length} bytes; at most ${MAX_PAYLOAD_BYTES} are read`);
      if (route === undefined) return { samples: [], refusals: [], unclaimed: [{ topic, siteId: siteOf(fleet.sites, topic)?.id ?? null, arrivedMs, bytes }] };
      try {
        const routed = route.decode(bytes, { topic, arrivedMs });
        return route.rest?.wants(bytes, arrivedMs) === true ? { ...routed, unclaimed: [{ topic, siteId: siteOf(fleet.sites, topic)?.id ?? null, arrivedMs, bytes, partial: true }] } : routed;
      } catch (error) {
        // A format must not throw. If one does, the message is refused in the open rather than redelivered for ever.
        return refused(topic, bytes, `format ${route.claim.format} failed on this message (a fault in Tankbell, please report it): ${String(error)}`);
      }
    },
    subscriptions: subscriptionsOf(fleet.sites, [...routes.keys()]),
    claims: (topic) => routes.has(topic),
    explain: () => [...routes.values()].map(({ claim }) => claim),
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

interface Route {
  readonly claim: Claim;
  readonly decode: Decode;
  /** Looks for values of the document that none of its points reads; `null` for formats whose message is one value. */
  readonly rest: RestOfDocument | null;
}

function prepareRoute(topic: string, points: readonly Point[], formats: ReadonlyMap<string, PayloadFormat>): Route {
  const names = [...new Set(points.map((point) => point.source?.format ?? ''))];
  const [name = ''] = names;
  if (names.length > 1) throw new RouteError(`topic ${topic} is read as ${names.join(' and as ')} (points ${points.map(({ id }) => id).join(', ')}); one topic has one format`);
  const format = formats.get(name);
  if (format === undefined) throw new RouteError(`point ${points[0]?.id}: there is no format "${name}"; there is ${[...formats.keys()].join(', ')}`);
  const fields = points.map((point): Field => ({ pointId: point.id, options: point.source?.options }));
  return { claim: { topic, format: name, looksLike: format.looksLike, pointIds: points.map(({ id }) => id) }, decode: format.prepare(fields), rest: name === 'json' ? restOfDocument(points.map(({ source }) => source?.options)) : null };
}

function refused(topic: string, bytes: Uint8Array, reason: string): Routed {
  return { samples: [], refusals: [{ source: shorten(topic, 200), pointId: null, reason, excerpt: excerpt(bytes) }] };
}

function siteOf(sites: readonly Site[], topic: string): Site | null {
  return sites.find((site) => site.topics !== '' && topic.startsWith(site.topics)) ?? null;
}

/** Overlapping filters would bring messages twice (MQTT 5 §3.3.4), so a covered one is left out. */
function subscriptionsOf(sites: readonly Site[], topics: readonly string[]): readonly string[] {
  const prefixes = [...new Set(sites.map((site) => site.topics).filter((prefix) => prefix !== ''))];
  const widest = prefixes.filter((prefix) => !prefixes.some((other) => other !== prefix && prefix.startsWith(other)));
  const loose = topics.filter((topic) => !widest.some((prefix) => topic.startsWith(prefix)));
  return [...widest.map((prefix) => `${prefix}#`), ...loose];
}
