/** One message to one person about one alarm: an outbox row until it is handed over. */
export type PageReason = 'opened' | 'escalated' | 'repeated' | 'morning' | 'surfaced' | 'returned' | 'test';

export interface Page {
  /** Made of alarm, step, person and reason, so that the same decision taken twice is one row. */
  readonly id: string;
  readonly alarmId: number | null;
  readonly personId: string;
  readonly reason: PageReason;
  readonly createdMs: number;
}

export type PageState = 'queued' | 'claimed' | 'handed-over' | 'refused';

/** A page as it stands in the outbox. */
export interface OutboxPage extends Page {
  readonly state: PageState;
  readonly attempts: number;
  readonly nextTryMs: number;
  readonly handedOverMs: number | null;
  readonly lastError: string | null;
}
