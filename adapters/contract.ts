/**
 * What a payload format is: one file in `adapters/payloads/`, default export, found and checked at start-up (`load.ts`).
 * A format turns the bytes of one message into samples. It never throws on bad bytes: what it cannot read it refuses, with a reason
 * that says what to send instead, and keeps whatever else in the message is good.
 */
import type { z } from 'zod';
import type { Refusal, Sample } from '../src/domain/reading.ts';

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
}

export function defineFormat<Options>(format: PayloadFormat<Options>): PayloadFormat {
  return format as unknown as PayloadFormat;
}

/** The first bytes of a payload as text fit to show: at most 120 characters, control characters replaced. */
export function excerpt(bytes: Uint8Array): string {
  const text = new TextDecoder('utf-8', { fatal: false }).decode(bytes.subarray(0, 240));
  const clean = text.replace(/\p{Cc}/gu, '·');
  return clean.length > 120 ? `${clean.slice(0, 119)}…` : clean;
}
