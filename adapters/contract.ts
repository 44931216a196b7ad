/**
 * What a payload format is: one file in `adapters/payloads/`, default export, found and checked at start-up (`load.ts`).
 * A format turns the bytes of one message into samples. It never throws on bad bytes: what it cannot read it refuses, with a reason
 * that says what to send instead, and keeps whatever else in the message is good.
 *
 * Most formats need to know no more than the message at hand: `PayloadFormat`. A protocol in which one message explains the next (Sparkplug: births
 * name what data later calls by number) is a `SessionFormat`.
 */
import type { z } from 'zod';
import type { PresenceChange } from '../src/domain/presence.ts';
import type { Refusal, Sample } from '../src/domain/reading.ts';
import type { UnclaimedMessage } from '../src/domain/unclaimed.ts';

export interface PayloadFormat<Options = unknown> {
  /** File name and name in the fleet file: `number`, `json`. */
  readonly format: string;
  /** One sentence for people: what such a message looks like. */
  readonly looksLike: string;
  /** Checks the options beside `topic` in the fleet file; every key has a `.describe()` sentence. */
  readonly options: z.ZodType<Options>;
  /** Prepares a decoder for all points fed by one topic; runs once, so that decoding is fast. */
  prepare(fields: readonly Field<Options>[]): Decode;
}

export interface Field<Options = unknown> {
  readonly pointId: string;
  readonly options: Options;
}

export type Decode = (bytes: Uint8Array, message: MessageFacts) => Decoded;

export interface MessageFacts {
  readonly topic: string;
  readonly arrivedMs: number;
}

export interface Decoded {
  readonly samples: readonly Sample[];
  readonly refusals: readonly Refusal[];
  /** Values of a message of many that no point reads; left out where there is none. */
  readonly unread?: readonly UnreadValue[];
}

export interface UnreadValue {
  readonly name: string;
  readonly unit: string | null;
}

/** A format whose messages build on each other. Its `topic` in the fleet file is the address of a gateway, not the topic of a message. */
export interface SessionFormat<Options = unknown> {
  readonly format: string;
  readonly looksLike: string;
  readonly options: z.ZodType<Options>;
  /** What is wrong with an address and what to do instead (`write …`); `null`: nothing. */
  addressProblem(address: string): { readonly problem: string; readonly fix: string } | null;
  /**
   * One session for all points of this format.
   * @param hostId how this service calls itself towards gateways.
   * @param groups of gateways that are listened to, whether points read from them or not.
   */
  open(fields: readonly AddressedField<Options>[], hostId: string, groups?: readonly string[]): Session;
  /** Reads what a session has handed on as unclaimed. */
  prepareKept(fields: readonly Field<Options>[]): Decode;
}

export type AnyFormat = PayloadFormat | SessionFormat;

export interface AddressedField<Options = unknown> extends Field<Options> {
  readonly address: string;
}

/** Lives as long as the service; what it remembers must stay bounded by the fleet and by what one message may hold. */
export interface Session {
  /** Topic filters that bring in everything it needs. */
  readonly subscriptions: readonly string[];
  /** Is a message of this topic its business? */
  claims(topic: string): boolean;
  decode(bytes: Uint8Array, message: MessageFacts): SessionDecoded;
  /**
   * The connection to the broker stands (again): messages may have been missed.
   * @param sessionKept whether the broker has kept for us what it could keep.
   * @returns what to publish now.
   */
  connected(atMs: number, sessionKept: boolean): readonly Publication[];
  /** What tells gateways whether this service listens; `null`: nothing does. */
  readonly announcement: Announcement | null;
  /**
   * The fleet has changed, and this session follows on `before`, of the same format: what that one knew of gateways goes on being true.
   * @returns of points that are new: what is known of their gateways.
   */
  resume(before: Session, atMs: number): readonly PresenceChange[];
}

export interface SessionDecoded extends Decoded {
  readonly presence?: readonly PresenceChange[];
  /** To be published at once. */
  readonly ask?: readonly Publication[];
  /** What no point reads, by address, in bytes that `prepareKept` reads; the site is found by the router. */
  readonly unclaimed?: readonly UnclaimedMessage[];
}

/** QoS 0, not retained. */
export interface Publication {
  readonly topic: string;
  readonly payload: Uint8Array;
}

/** Kept by the broker (retained, QoS 1): `online` while the service is connected, otherwise left behind as its will. */
export interface Announcement {
  readonly topic: string;
  payload(online: boolean, atMs: number): string;
}

export function defineSessionFormat<Options>(format: SessionFormat<Options>): SessionFormat {
  return format as unknown as SessionFormat;
}

export function defineFormat<Options>(format: PayloadFormat<Options>): PayloadFormat {
  return format as unknown as PayloadFormat;
}

/** The first bytes of a payload as text fit to show: at most 120 characters, control characters replaced; in hexadecimal what is no text. */
export function excerpt(bytes: Uint8Array): string {
  const text = new TextDecoder('utf-8', { fatal: false }).decode(bytes.subarray(0, 240));
  const odd = text.match(/[^\P{Cc}\t\r\n]|\uFFFD/gu)?.length ?? 0;
  if (odd > 1 && odd * 10 > text.length) return [...bytes.subarray(0, 39)].map((byte) => byte.toString(16).padStart(2, '0')).join(' ') + (bytes.length > 39 ? ' …' : '');
  const clean = text.replace(/\p{Cc}/gu, '·');
  return clean.length > 120 ? `${clean.slice(0, 119)}…` : clean;
}
