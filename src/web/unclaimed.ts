/** What the pages tell about sources nobody reads: their latest values, how often they come, and what they may be. */
import { type MessageField, messageFields } from '../../adapters/message-fields.ts';
import { unreadFields } from '../../adapters/rest-of-document.ts';
import { HOUR, MINUTE, SECOND } from '../domain/duration.ts';
import type { Fleet } from '../domain/fleet.ts';
import { excerpt } from '../../adapters/contract.ts';
import type { MessageTime, UnclaimedMessage } from '../domain/unclaimed.ts';
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
  readonly pointer: string | null;
  readonly unitPointer: string | null;
  readonly unit: string | null;
  /** Newest first. */
  readonly latest: readonly (number | boolean | string)[];
  readonly guess: KindGuess | null;
}

type Reader = Pick<UnclaimedStore, 'unclaimedSources' | 'unclaimedSource' | 'unclaimedMessages'>;

/** Enough to tell a cadence, and a value that wanders from one that stands. */
const LOOKED_AT = 24;
const VALUES_SHOWN = 5;

export async function unclaimedFacts(store: Reader, fleet: Fleet): Promise<readonly UnclaimedFacts[]> {
  const all = await Promise.all((await store.unclaimedSources()).map((source) => factsOf(store, fleet, source)));
  // A topic claimed in full meanwhile has nothing left to offer.
  return all.filter(({ source, values }) => !source.partial || values.length > 0);
}

export async function unclaimedFact(store: Reader, fleet: Fleet, topic: string): Promise<UnclaimedFacts | null> {
  const source = await store.unclaimedSource(topic);
  return source === null ? null : factsOf(store, fleet, source);
}

async function factsOf(store: Reader, fleet: Fleet, source: UnclaimedSource): Promise<UnclaimedFacts> {
  const { topic } = source;
  const messages = await store.unclaimedMessages(topic, LOOKED_AT);
  const options = fleet.points.filter((point) => point.source?.topic === topic).map((point) => point.source?.options);
  const read = messages.map(({ bytes, arrivedMs }) => messageFields(bytes, arrivedMs));
  const values = new Map<string, { field: MessageField; latest: (number | boolean | string)[] }>();
  for (const { fields } of read) {
    for (const field of unreadFields(fields, options)) {
      const key = field.pointer ?? '';
      const known = values.get(key);
      if (known === undefined) values.set(key, { field, latest: [field.value] });
      else known.latest.push(field.value);
    }
  }
  const newest = messages[0];
  return {
    source,
    everyMs: source.partial ? null : cadenceOf(messages),
    time: read.find(({ time }) => time !== null)?.time ?? null,
    values: [...values.values()].map(({ field, latest }) => ({
      pointer: field.pointer, unitPointer: field.unitPointer, unit: field.unit, latest: latest.slice(0, VALUES_SHOWN),
      guess: guessKind({ topic, pointer: field.pointer, unit: field.unit, values: latest }),
    })),
    excerpt: values.size === 0 && newest !== undefined ? excerpt(newest.bytes) : null,
  };
}

function cadenceOf(messages: readonly UnclaimedMessage[]): number | null {
  const steps = messages.slice(1).map(({ arrivedMs }, index) => (messages[index]?.arrivedMs ?? arrivedMs) - arrivedMs).sort((a, b) => a - b);
  return steps[Math.floor(steps.length / 2)] ?? null;
}

const usualMs = [1, 2, 5, 10, 15, 20, 30].map((n) => n * SECOND).concat([1, 2, 5, 10, 15, 20, 30].map((n) => n * MINUTE), [1, 2, 6, 12, 24].map((n) => n * HOUR));

/** The round cadence somebody has probably set, when the measured one is within a tenth of it; else whole seconds. */
export function likelyCadence(measuredMs: number): number {
  return usualMs.find((usual) => Math.abs(measuredMs - usual) <= usual / 10) ?? Math.max(SECOND, Math.round(measuredMs / SECOND) * SECOND);
}

/** Last part of the topic or pointer that says more than a number: `harbor-lobby/strip-a` + `/outlets/0/watts` → `strip-a-outlets-0-watts`. */
export function likelyPointId(topic: string, siteTopics: string, pointer: string | null): string {
  const rest = topic.startsWith(siteTopics) ? topic.slice(siteTopics.length) : topic;
  const id = `${rest}/${pointer ?? ''}`.normalize('NFKD').toLowerCase().replace(/[^a-z0-9]+/g, '-').replace(/^-+|-+$/g, '').slice(0, 60).replace(/-+$/, '');
  return id === '' ? 'new-point' : id;
}
