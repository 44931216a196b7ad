/** Values of a message that no point reads: looked for now and then, so that they can be offered and cost nothing. */
import { PARTIAL_EVERY_MS, UNCLAIMED_MESSAGE_BYTES, UNCLAIMED_SOURCES } from '../src/domain/unclaimed.ts';
import type { Decoded } from './contract.ts';
import { type MessageField, messageFields } from './message-fields.ts';
import { senmlParts } from './senml-fields.ts';

export interface RestOfDocument {
  /** What is to be kept of this message for what nobody reads of it; of each value at most once a minute. */
  take(bytes: Uint8Array, arrivedMs: number, decoded: Decoded): readonly Uint8Array[];
}

const none: readonly Uint8Array[] = [];

/** @param options of the points that read the topic. */
export function restOfDocument(topic: string, options: readonly unknown[]): RestOfDocument {
  let nextMs = Number.NEGATIVE_INFINITY;
  return {
    take(bytes, arrivedMs) {
      if (arrivedMs < nextMs) return none;
      nextMs = arrivedMs + PARTIAL_EVERY_MS;
      return unreadFields(messageFields(topic, bytes, arrivedMs).fields, options).length > 0 ? [bytes] : none;
    },
  };
}

/** A gateway may send each name in a pack of its own: each has a minute of its own. */
export function restOfPack(): RestOfDocument {
  const nextMs = new Map<string, number>();
  return {
    take(bytes, arrivedMs, { unread }) {
      if (unread === undefined || !unread.some((value) => arrivedMs >= (nextMs.get(keyOf(value)) ?? Number.NEGATIVE_INFINITY))) return none;
      // Names without end are a mistake, and must not fill the memory.
      if (nextMs.size > UNCLAIMED_SOURCES) nextMs.clear();
      for (const value of unread.slice(0, UNCLAIMED_SOURCES)) nextMs.set(keyOf(value), arrivedMs + PARTIAL_EVERY_MS);
      return senmlParts(bytes, arrivedMs, UNCLAIMED_MESSAGE_BYTES);
    },
  };
}

const keyOf = ({ name, unit }: { readonly name: string; readonly unit: string | null }): string => `${name} ${unit ?? ''}`;

/** Those of `fields` that none of the points with these options reads. */
export function unreadFields(fields: readonly MessageField[], options: readonly unknown[]): readonly MessageField[] {
  const given = options.filter((one) => typeof one === 'object' && one !== null).map((one) => new Map<string, unknown>(Object.entries(one as object)));
  const pointers = new Set(given.flatMap((one) => [...one.values()]));
  return fields.filter(({ place }) => {
    switch (place.format) {
      case 'number':
        return options.length === 0;
      case 'json':
        return !pointers.has(place.pointer);
      case 'senml':
        return !given.some((one) => one.get('name') === place.name && (one.get('read') ?? 'value') === place.read && (one.get('unit') === undefined || one.get('unit') === place.unit));
      case 'sparkplug':
        return !given.some((one) => one.get('metric') === place.metric);
    }
  });
}
