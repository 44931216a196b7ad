/** A measured value on its way in (`Sample`) and as kept (`Reading`). */

/** Identity of a stored series; one per point, handed out by the store. */
export type SeriesId = number;

export interface Reading {
  readonly series: SeriesId;
  /** Integer milliseconds since 1970-01-01T00:00Z. */
  readonly atMs: number;
  /** In the canonical unit of the point's kind; always finite. */
  readonly value: number;
  /** Sum of `Quality` flags; 0 is good. */
  readonly quality: number;
}

/** Flags of a reading. Stored with it; none of them changes the value. */
export const Quality = {
  good: 0,
  /** Physically impossible for its kind: shown as suspect, never judged. */
  outOfRange: 1,
  /** The source sent no time; stamped when it arrived. */
  stampedOnArrival: 2,
  /** The source's clock runs ahead by more than the bound; stamped when it arrived. */
  clockRefused: 4,
  /** Sent as history (a gateway that had stored it): kept and shown, never taken for the present value, whatever its time. */
  history: 64,
} as const;

/** Can it be true? */
export function isUsable(quality: number): boolean {
  return (quality & Quality.outOfRange) === 0;
}

/** What a payload format takes out of one message, before it is known to be possible, in range or new. */
export interface Sample {
  /** Id of the point it belongs to. */
  readonly pointId: string;
  /** Time the source gave, or `null` when it gave none. */
  readonly atMs: number | null;
  readonly value: number | boolean | string;
  /** Unit the payload itself names; overrides the unit declared for the point. */
  readonly unit: string | null;
  /** The source promises its next value within this time; the cadence of a point with `cadence: sent`. Left out: as before. */
  readonly nextWithinMs?: number;
  /** Stored by the source and sent later as history: it must not touch the present value. Needs a time. */
  readonly historical?: true;
}

/** A refused piece of input: kept with its reason, counted, shown; it takes nothing else down with it. */
export interface Refusal {
  /** Topic, file and line, or client it came from. */
  readonly source: string;
  readonly pointId: string | null;
  /** What is wrong and what to send instead. */
  readonly reason: string;
  /** The first bytes of it, as text. */
  readonly excerpt: string;
}
