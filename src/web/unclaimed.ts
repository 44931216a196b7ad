/** What the pages tell about sources nobody reads: their latest values, how often they come, and what they may be. */
import { type MessageField, messageFields } from '../../adapters/message-fields.ts';
import { unreadFields } from '../../adapters/rest-of-document.ts';
import { parseAddress } from '../../adapters/sparkplug-address.ts';
import { HOUR, MINUTE, SECOND } from '../domain/duration.ts';
import type { Fleet } from '../domain/fleet.ts';
import { excerpt } from '../../adapters/contract.ts';
import { type MessageTime, placeText, UNCLAIMED_MESSAGES, type ValuePlace } from '../domain/unclaimed.ts';
import { guessKind, type KindGuess } from '../ingest/guess-kind.ts';
import type { UnclaimedSource, UnclaimedStore } from '../store/contract.ts';

export interface UnclaimedFacts {
  readonly source: UnclaimedSource;
  /** Median time between the latest messages; `null` before the second. */
  readonly everyMs: number | null;
  readonly time: MessageTime | null;
  readonly values: readonly UnclaimedValue[];
  /** Beginning of the latest message, where nothing in it can be read. */
  readonly excerpt: string | null;
}

export interface UnclaimedValue {
  readonly place: ValuePlace;
  /** Tells it from the other values of its source. */
  readonly part: string | null;
  readonly unitPointer: string | null;
  readonly unit: string | null;
  /** Newest first. */
  readonly latest: readonly (number | boolean | string)[];
  /** Median time between its latest values; `null` before the second, and where only a sample of the messages is kept. */
  readonly everyMs: number | null;
  readonly guess: KindGuess | null;
}

type Reader = Pick<UnclaimedStore, 'unclaimedSources' | 'unclaimedSource' | 'unclaimedMessages'>;

/** Enough to tell a cadence, and a value that wanders from one that stands. */
const LOOKED_AT = 24;
/** Gateways send what has changed: to find all their values, more must be looked at; of all gateways together no more than a page can wait for. */
const LOOKED_AT_GATEWAYS = 10_000;
const VALUES_SHOWN = 5;
/** Characters of an id that is proposed. */
const MAX_ID = 60;

export async function unclaimedFacts(store: Reader, fleet: Fleet): Promise<readonly UnclaimedFacts[]> {
  const sources = await store.unclaimedSources();
  const gateways = sources.filter(({ topic }) => isGateway(topic)).length;
  const all = await Promise.all(sources.map((source) => factsOf(store, fleet, source, gateways)));
  // A topic claimed in full meanwhile has nothing left to offer.
  return all.filter(({ source, values }) => !source.partial || values.length > 0);
}

export async function unclaimedFact(store: Reader, fleet: Fleet, topic: string): Promise<UnclaimedFacts | null> {
  const source = await store.unclaimedSource(topic);
  return source === null ? null : factsOf(store, fleet, source, 1);
}

const isGateway = (topic: string): boolean => !('problem' in parseAddress(topic));

/** @param gateways among the sources that are looked at. */
async function factsOf(store: Reader, fleet: Fleet, source: UnclaimedSource, gateways: number): Promise<UnclaimedFacts> {
  const { topic } = source;
  const messages = await store.unclaimedMessages(topic, isGateway(topic) ? Math.min(UNCLAIMED_MESSAGES, Math.ceil(LOOKED_AT_GATEWAYS / gateways)) : LOOKED_AT);
  const options = fleet.points.filter((point) => point.source?.topic === topic).map((point) => point.source?.options);
  const read = messages.map(({ bytes, arrivedMs }) => ({ arrivedMs, ...messageFields(topic, bytes, arrivedMs) }));
  const fields = read.flatMap(({ arrivedMs, fields: all }) => unreadFields(all, options).map((field) => ({ ...field, atMs: field.atMs ?? arrivedMs })));
  const newest = messages[0];
  const values = gathered(fields);
  return {
    source,
    everyMs: source.partial ? null : cadenceOf(messages.slice(0, LOOKED_AT).map(({ arrivedMs }) => arrivedMs)),
    time: read.find(({ time }) => time !== null)?.time ?? null,
    values: values.map(({ place, seen }) => valueOf(topic, place, seen, source.partial)),
    excerpt: values.length === 0 && newest !== undefined ? excerpt(newest.bytes) : null,
  };
}

type Seen = MessageField & { readonly atMs: number };

/** Values by where they stand, newest first each. */
function gathered(fields: readonly Seen[]): readonly { readonly place: ValuePlace; readonly seen: readonly Seen[] }[] {
  const units = new Map<string, Set<string | null>>();
  for (const { place } of fields) if (place.format === 'senml') units.set(place.name, (units.get(place.name) ?? new Set()).add(place.unit));
  const byPart = new Map<string, { readonly place: ValuePlace; readonly seen: Seen[] }>();
  for (const field of fields) {
    // Only where one name carries several quantities does the unit have to say which.
    const place = field.place.format === 'senml' && units.get(field.place.name)?.size === 1 ? { ...field.place, unit: null } : field.place;
    const part = placeText(place) ?? '';
    const known = byPart.get(part);
    if (known === undefined) byPart.set(part, { place, seen: [field] });
    else known.seen.push(field);
  }
  return [...byPart.values()];
}

function valueOf(topic: string, place: ValuePlace, seen: readonly Seen[], partial: boolean): UnclaimedValue {
  // What a gateway had stored comes later than what is newer.
  const byTime = [...seen].sort((a, b) => b.atMs - a.atMs);
  // A gateway's value that stands is kept again now and then, with its own time.
  const looked = (place.format === 'sparkplug' ? byTime.filter(({ atMs, value }, index) => atMs !== byTime[index - 1]?.atMs || value !== byTime[index - 1]?.value) : byTime).slice(0, LOOKED_AT);
  const unit = looked[0]?.unit ?? null;
  const part = placeText(place);
  return {
    place, part, unit, unitPointer: looked[0]?.unitPointer ?? null, latest: looked.slice(0, VALUES_SHOWN).map(({ value }) => value),
    everyMs: partial ? null : cadenceOf([...new Set(looked.map(({ atMs }) => atMs))].sort((a, b) => b - a)),
    guess: guessKind({ topic, part: telling(place), ...(place.format === 'json' ? {} : { partIs: 'the name' }), unit, values: looked.map(({ value }) => value) }),
  };
}

/** What of its place says something about a value: of a SenML name the part behind the number of the device (RFC 9039, from memory), which is no words. */
function telling(place: ValuePlace): string | null {
  if (place.format !== 'senml') return placeText(place);
  const rest = place.name.replace(/^urn:dev:[a-z]+:[^:_]*[:_]?/, '');
  return rest === '' ? null : rest;
}

/** @param timesMs newest first. */
function cadenceOf(timesMs: readonly number[]): number | null {
  const steps = timesMs.slice(1).map((atMs, index) => (timesMs[index] ?? atMs) - atMs).sort((a, b) => a - b);
  return steps[Math.floor(steps.length / 2)] ?? null;
}

const usualMs = [1, 2, 5, 10, 15, 20, 30].map((n) => n * SECOND).concat([1, 2, 5, 10, 15, 20, 30].map((n) => n * MINUTE), [1, 2, 6, 12, 24].map((n) => n * HOUR));

/** The round cadence somebody has probably set, when the measured one is within a tenth of it; else whole seconds. */
export function likelyCadence(measuredMs: number): number {
  return usualMs.find((usual) => Math.abs(measuredMs - usual) <= usual / 10) ?? Math.max(SECOND, Math.round(measuredMs / SECOND) * SECOND);
}

/** What of topic and place says more than a number: `harbor-lobby/strip-a` + `/outlets/0/watts` → `strip-a-outlets-0-watts`. */
export function likelyPointId(topic: string, siteTopics: string, place: ValuePlace): string {
  const rest = place.format === 'sparkplug' ? topic.split('/').slice(2).join('/') : topic.startsWith(siteTopics) ? topic.slice(siteTopics.length) : topic;
  const words = `${rest}/${telling(place) ?? ''}`.normalize('NFKD').toLowerCase().split(/[^a-z0-9]+/).filter((word) => word !== '');
  // The last words say what is measured, those before them where.
  while (words.length > 1 && words.join('-').length > MAX_ID) words.shift();
  const id = words.join('-').slice(0, MAX_ID);
  return id === '' ? 'new-point' : id;
}
