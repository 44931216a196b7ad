/** What a gateway says of itself: whether the points behind it can be believed right now. */

/** One change, for all the points it concerns. */
export interface PresenceChange {
  readonly pointIds: readonly string[];
  readonly state: 'online' | 'offline';
  /** When it happened. */
  readonly atMs: number;
  /** What is wrong, as the end of a sentence: `its gateway lobby/edge-1 is offline`. Of no meaning when online. */
  readonly why: string;
  /** One sentence for the journal; `null`: not worth an entry. */
  readonly journal: string | null;
}

/** What is known of a point beside its readings; kept over a restart. */
export interface PointState {
  readonly pointId: string;
  /** `null`: nothing speaks against its latest value. */
  readonly offline: Offline | null;
  /** Time between readings as promised by the source itself; `null`: as in the fleet file. */
  readonly cadenceMs: number | null;
}

export interface Offline {
  readonly sinceMs: number;
  readonly why: string;
}
