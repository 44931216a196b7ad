/** A message with values no point reads: kept for a while, so that the point it is claimed for has a past. */
export interface UnclaimedMessage {
  readonly topic: string;
  /** Site whose topics begin so; `null` when none does. */
  readonly siteId: string | null;
  readonly arrivedMs: number;
  readonly bytes: Uint8Array;
  /** Points read some of it: a sample of the messages is kept for the rest. */
  readonly partial?: boolean;
}

/** Sources kept, and as many that points read in part; of the site that has the most, the one silent for the longest time goes first. */
export const UNCLAIMED_SOURCES = 200;
/** Latest messages kept of each. */
export const UNCLAIMED_MESSAGES = 500;
/** Of a topic that points read in part a message is kept this often. */
export const PARTIAL_EVERY_MS = 60_000;
/** Of a longer message only that it came is kept. Readings are far shorter. */
export const UNCLAIMED_MESSAGE_BYTES = 4096;
/** Bytes of messages kept of each source. */
export const UNCLAIMED_SOURCE_BYTES = 128 * 1024;

/** Where a document tells the time of its values. */
export interface MessageTime {
  readonly pointer: string;
  readonly format: 'rfc3339' | 's' | 'ms' | 'us';
}

/** Which value of a message, in the words of the fleet file: format and options of the source that would read it. */
export type ValuePlace =
  /** The message is the value. */
  | { readonly format: 'number' }
  /** JSON Pointer (RFC 6901). */
  | { readonly format: 'json'; readonly pointer: string }
  /** `unit` as in the message, where one name carries several; otherwise `null`. */
  | { readonly format: 'senml'; readonly name: string; readonly unit: string | null; readonly read: 'value' | 'sum' }
  | { readonly format: 'sparkplug'; readonly metric: string };

/** For people, and to tell the values of one source apart; `null` where there is only one. */
export function placeText(place: ValuePlace): string | null {
  switch (place.format) {
    case 'number':
      return null;
    case 'json':
      return place.pointer;
    case 'senml':
      // Names hold no spaces (RFC 8428 §4.5.1).
      return `${place.name}${place.unit === null ? '' : ` ${place.unit}`}${place.read === 'sum' ? ' (sum)' : ''}`;
    case 'sparkplug':
      return place.metric;
  }
}
