/** A source's clock that is under suspicion, or found wrong; one that is right has no state. */
export interface ClockState {
  /** Arrival of the first message of the present run of steady lags. */
  readonly firstMs: number;
  readonly lastMs: number;
  readonly messages: number;
  /** Lag: arrival minus stamp; below zero the clock is ahead. */
  readonly leastLagMs: number;
  readonly mostLagMs: number;
  /** Since when its stamps are not used; `null`: only under suspicion. */
  readonly wrongSinceMs: number | null;
}

/** What is known of the clock of one source. */
export interface SourceClock {
  /** Topic; point id where there is none. */
  readonly source: string;
  readonly siteId: string;
  /** Median lag of the latest messages, positive when the clock is behind; `null` before the first since the start. */
  readonly behindMs: number | null;
  readonly wrongSinceMs: number | null;
}
