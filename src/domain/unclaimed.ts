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

/** Sources kept, and as many that points read in part; the one silent for the longest time goes first. */
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
