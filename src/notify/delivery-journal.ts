/** The journal's sentences about what became of a page. */
import type { Alarm } from '../domain/alarm.ts';
import { showDuration } from '../domain/duration.ts';
import type { JournalEntry } from '../domain/journal.ts';
import type { OutboxPage } from '../domain/page.ts';
import type { PageOutcome } from '../store/contract.ts';

export interface DeliveryFacts {
  readonly page: OutboxPage;
  readonly alarm: Alarm | null;
  /** As people read it; the id when the person is gone. */
  readonly personName: string;
  readonly channelName: string;
  /** What else the record should keep, e.g. the message id. */
  readonly detail?: Readonly<Record<string, unknown>>;
}

export function deliveryEntry({ page, alarm, personName, channelName, detail }: DeliveryFacts, outcome: PageOutcome, nowMs: number): JournalEntry {
  return {
    atMs: nowMs,
    kind: 'delivery',
    siteId: alarm?.siteId ?? null,
    tankId: alarm?.tankId ?? null,
    alarmId: page.alarmId,
    by: 'tankbell',
    text: `${alarm?.title ?? 'Test'}: ${channelName} to ${personName} (${page.reason}) ${ending(outcome, nowMs)}`,
    detail: {
      pageId: page.id, personId: page.personId, reason: page.reason, attempt: page.attempts, delayMs: nowMs - page.createdMs,
      outcome: outcome.state, ...('error' in outcome ? { error: outcome.error } : {}), ...(outcome.state === 'queued' ? { nextTryMs: outcome.nextTryMs } : {}),
      ...detail,
    },
  };
}

function ending(outcome: PageOutcome, nowMs: number): string {
  switch (outcome.state) {
    case 'handed-over':
      return 'handed over';
    case 'queued':
      return `failed, next try in ${showDuration(outcome.nextTryMs - nowMs)}: ${outcome.error}`;
    case 'refused':
      return outcome.error.startsWith('obsolete:') ? `not sent, ${outcome.error}` : `not delivered: ${outcome.error}`;
  }
}
