/** A time in which readings may have been lost: found when it is over, looked up in the store once what was held back has had time to arrive. */
export interface Outage {
  /** `down/*\/1772539200000`: the same outage found twice is one. */
  readonly id: string;
  /** `down`: Tankbell was not running. `connection`: it had no connection to the broker. `silence`: neither; a source's stamps show the hole. */
  readonly cause: 'down' | 'connection' | 'silence';
  /** `null`: every site. */
  readonly siteId: string | null;
  readonly fromMs: number;
  readonly toMs: number;
  /** When to look up what is missing. A stored deadline. */
  readonly dueMs: number;
}
