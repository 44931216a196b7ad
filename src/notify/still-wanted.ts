/**
 * Is a page still worth a person's attention at the moment it is sent? Mail can be held up for hours; an old cry for help about
 * something settled costs trust. Doubt sends: the first page of an open alarm always goes out.
 */
import type { Alarm } from '../domain/alarm.ts';
import type { OutboxPage } from '../domain/page.ts';

export type Wanted = { readonly send: true } | { readonly send: false; /** `obsolete: …`, for the journal. */ readonly why: string };

export interface WantedFacts {
  readonly page: OutboxPage;
  readonly alarm: Alarm | null;
  /** All pages of the alarm, this one included. */
  readonly pagesOfAlarm: readonly OutboxPage[];
  /** Who acknowledged it, if anybody did. */
  readonly acknowledger: Acknowledger | null;
  /** Writes a time as people at the site read it. */
  readonly clock: (atMs: number) => string;
}

export interface Acknowledger {
  /** As people read it. */
  readonly name: string;
  /** `null` when it is nobody of the fleet's people. */
  readonly personId: string | null;
}

export function stillWanted(facts: WantedFacts): Wanted {
  const { page, alarm } = facts;
  if (page.reason === 'test' || alarm === null) return send;
  return page.reason === 'returned' ? allClear(facts, alarm) : callForHelp(facts, alarm);
}

const send: Wanted = { send: true };
const obsolete = (why: string): Wanted => ({ send: false, why: `obsolete: ${why}` });

function callForHelp({ page, pagesOfAlarm, acknowledger, clock }: WantedFacts, alarm: Alarm): Wanted {
  const acknowledged = alarm.acknowledgedMs === null ? null : `acknowledged by ${acknowledger?.name ?? 'somebody'} at ${clock(alarm.acknowledgedMs)}`;
  if (alarm.closedMs !== null) return obsolete(`${acknowledged === null ? '' : `${acknowledged} and `}over at ${clock(alarm.closedMs)}, before it was sent`);
  if (page.reason === 'opened') return send;
  if (acknowledged !== null) return obsolete(`${acknowledged}, before it was sent`);
  if (alarm.state === 'shelved' || alarm.state === 'suppressed') return obsolete(`the alarm was ${alarm.state} before it was sent`);
  if (alarm.state === 'out-of-service') return obsolete('the alarm was taken out of service before it was sent');
  // Over, but unacknowledged: whoever was told first will be told that, too. If nobody was, this page is the first to tell.
  const told = pagesOfAlarm.some((other) => other.id !== page.id && other.reason !== 'returned' && other.state === 'handed-over');
  if (alarm.returnedMs !== null && told) return obsolete(`back to normal at ${clock(alarm.returnedMs)}, before it was sent`);
  return send;
}

function allClear({ page, pagesOfAlarm, acknowledger, clock }: WantedFacts, alarm: Alarm): Wanted {
  // "Back to normal" about something that is not normal any more would be the worst mail of all.
  if (alarm.returnedMs === null) return obsolete(alarm.closedMs === null ? 'the condition came back before it was sent' : `the alarm was ended at ${clock(alarm.closedMs)} without returning`);
  const calls = pagesOfAlarm.filter((other) => other.personId === page.personId && other.reason !== 'returned');
  // A claimed page, or one that failed half-way, may have reached them.
  const maybeTold = calls.some((call) => call.state === 'handed-over' || call.state === 'claimed' || (call.state === 'queued' && call.attempts > 0));
  if (!maybeTold) {
    return obsolete(calls.some((call) => call.state === 'queued') ? 'the page before it has not been sent and will say so itself' : 'this person was never told of the alarm');
  }
  if (alarm.acknowledgedMs !== null && alarm.acknowledgedMs >= alarm.returnedMs && acknowledger?.personId === page.personId) {
    return obsolete(`acknowledged by ${acknowledger.name} at ${clock(alarm.acknowledgedMs)}, after it had returned`);
  }
  return send;
}
