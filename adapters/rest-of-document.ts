/** Values of a JSON document that no point reads: looked for now and then, so that they can be offered and cost nothing. */
import { PARTIAL_EVERY_MS } from '../src/domain/unclaimed.ts';
import { type MessageField, messageFields } from './message-fields.ts';

export interface RestOfDocument {
  /** Is this message to be kept for what nobody reads of it? At most one a minute is. */
  wants(bytes: Uint8Array, arrivedMs: number): boolean;
}

/** @param options of the points that read the topic. */
export function restOfDocument(options: readonly unknown[]): RestOfDocument {
  let nextMs = Number.NEGATIVE_INFINITY;
  return {
    wants(bytes, arrivedMs) {
      if (arrivedMs < nextMs) return false;
      nextMs = arrivedMs + PARTIAL_EVERY_MS;
      return unreadFields(messageFields(bytes, arrivedMs).fields, options).length > 0;
    },
  };
}

/** Those of `fields` that none of the points with these options reads. */
export function unreadFields(fields: readonly MessageField[], options: readonly unknown[]): readonly MessageField[] {
  const read = new Set(options.flatMap((one) => (typeof one === 'object' && one !== null ? Object.values(one) : [])));
  return fields.filter(({ pointer }) => pointer === null ? options.length === 0 : !read.has(pointer));
}
