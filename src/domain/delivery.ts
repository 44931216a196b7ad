/** What an adapter hands to the engine for one message, request or file part. */
import type { PresenceChange } from './presence.ts';
import type { Refusal, Sample } from './reading.ts';
import type { UnclaimedMessage } from './unclaimed.ts';

export interface Delivery {
  /** When the bytes arrived here. */
  readonly arrivedMs: number;
  readonly samples: readonly Sample[];
  readonly refusals: readonly Refusal[];
  /** What its gateway says of itself; counts before the samples of the same delivery. */
  readonly presence?: readonly PresenceChange[];
  /** From a file, not from a source as it measures: its stamps say nothing about a clock. */
  readonly fromFile?: boolean;
  /** Messages no point reads; committed with the rest. */
  readonly unclaimed?: readonly UnclaimedMessage[];
  /** Called exactly once, after everything above is committed: the moment to acknowledge. Must not throw. */
  committed(): void;
}

/**
 * Takes a delivery into the engine's queue. `false`: the queue is full and nothing was taken; whoever cannot hold the
 * sender back (QoS 0) drops the message and says so, everybody else tries again after `committed` of an earlier one.
 */
export type Deliver = (delivery: Delivery) => boolean;
