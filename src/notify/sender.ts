/**
 * Empties the outbox: claims due pages, composes them, hands them to the channel and settles them with a journal row.
 *
 * At least once: a page is settled only after the channel took it, and a copy sent again after a crash carries the same
 * message id. While the channel as a whole is down, one page probes it and the others wait unclaimed, so that an outage of a
 * night neither fills the journal nor hammers the server.
 */
import type { Clock } from '../clock.ts';
import { MINUTE, SECOND, showDuration } from '../domain/duration.ts';
import type { Fleet } from '../domain/fleet.ts';
import type { OutboxPage } from '../domain/page.ts';
import type { Logger } from '../log.ts';
import type { Rule } from '../rules/contract.ts';
import type { HistoryReader, Outbox, PageOutcome } from '../store/contract.ts';
import type { AckLinks } from './ack-link.ts';
import { GIVE_UP_AFTER_MS, MAX_DELAY_MS, channelDelayMs, pageDelayMs } from './back-off.ts';
import { type Channel, SendError } from './channel.ts';
import { type DeliveryFacts, deliveryEntry } from './delivery-journal.ts';
import { type GatherOptions, type LivePoints, gather } from './gather.ts';
import { composePage } from './message.ts';
import { stillWanted } from './still-wanted.ts';
import { showClock } from './times.ts';

export interface SenderOptions {
  readonly outbox: Outbox;
  readonly history: HistoryReader;
  readonly fleet: () => Fleet;
  readonly rules: () => readonly Rule[];
  readonly live: LivePoints;
  /** `null`: mail is not set up; pages stay queued. */
  readonly channel: Channel | null;
  readonly links: AckLinks;
  readonly clock: Clock;
  readonly log: Logger;
  readonly notice: string | null;
  /** How often the outbox is looked at without a nudge. */
  readonly sendMs?: number;
}

export interface Sender {
  /** Something may be due: look now. */
  nudge(): void;
  /** Claims nothing more, waits a moment for sends under way, closes the channel, and leaves the rest for the next start. */
  stop(): Promise<void>;
  status(): SenderStatus;
}

export interface SenderStatus {
  /** What is wrong now, in words; `null` after the last message went through. */
  readonly lastError: string | null;
  readonly lastErrorMs: number | null;
  readonly lastHandedOverMs: number | null;
  /** Creation time of the oldest page still waiting, as of the last look. */
  readonly oldestUnsentMs: number | null;
  /** Set while the whole channel is down: when it is tried again. */
  readonly nextTryMs: number | null;
}

export const MAIL_NOT_SET_UP = 'mail is not set up: pages wait in the outbox and nobody is reached; add the mail section to the service settings';

const CONCURRENCY = 4;
const CLAIM_MS = 2 * MINUTE;
/** Pages a predecessor may have left claimed; more wait for `CLAIM_MS`. */
const MAX_INHERITED = 1000;
const STOP_MS = 10 * SECOND;

export function startSender(options: SenderOptions): Sender {
  const { outbox, channel, clock, log } = options;
  const gathering: GatherOptions = { ...options, senderStartedMs: clock.now() };
  /** Claimed by this sender and not settled yet, so that a slow send is never claimed a second time by its own sender. */
  const held = new Set<string>();
  const waiting: OutboxPage[] = [];
  const sending = new Map<string, Promise<void>>();
  /** Ended, but the store would not take it: kept, so that a message that went out is not sent again. */
  const unsettled = new Map<string, { readonly facts: DeliveryFacts; readonly outcome: PageOutcome; readonly atMs: number }>();
  let inherited = false;
  let stopped = false;
  let looking: Promise<void> | null = null;
  let lookAgain = false;
  let channelFailures = 0;
  let resumeMs: number | null = null;
  let lastError: { readonly text: string; readonly atMs: number } | null = null;
  let lastHandedOverMs: number | null = null;
  let oldestUnsentMs: number | null = null;

  function fail(text: string): void {
    lastError = { text, atMs: clock.now() };
  }

  function nudge(): void {
    if (stopped) return;
    if (looking !== null) {
      lookAgain = true;
      return;
    }
    looking = look()
      .catch((error: unknown) => {
        fail(`the outbox cannot be read: ${wordsOf(error)}`);
        log.error({ err: error }, 'the outbox cannot be read; trying again');
      })
      .finally(() => {
        looking = null;
        if (!lookAgain) return;
        lookAgain = false;
        nudge();
      });
  }

  async function look(): Promise<void> {
    for (const [pageId, { facts, outcome, atMs }] of unsettled) await settle(pageId, facts, outcome, atMs);
    oldestUnsentMs = await outbox.oldestUnsentMs();
    if (channel === null) return;
    const nowMs = clock.now();
    // (A resume time beyond any back-off means that the clock was set back.)
    if (resumeMs !== null && nowMs < resumeMs && resumeMs - nowMs <= MAX_DELAY_MS) return;
    const free = (channelFailures > 0 ? 1 : CONCURRENCY) - sending.size;
    if (free <= 0) return;
    if (oldestUnsentMs === null) {
      inherited = true;
      return;
    }
    if (!inherited) {
      // Only one process may hold the data folder: whatever is claimed now was claimed by a sender that is gone.
      take(await outbox.claim(nowMs, MAX_INHERITED, 0));
      inherited = true;
    } else if (waiting.length < free) {
      take(await outbox.claim(nowMs, free - waiting.length, CLAIM_MS));
    }
    if (stopped) return;
    for (const page of waiting.splice(0, free)) send(page, channel);
  }

  function take(pages: readonly OutboxPage[]): void {
    for (const page of pages) {
      if (held.has(page.id)) continue;
      held.add(page.id);
      waiting.push(page);
    }
  }

  function send(page: OutboxPage, through: Channel): void {
    const done = deliver(page, through)
      .catch((error: unknown) => {
        // The store, not the page, is in trouble: the claim runs out and the page is tried again.
        held.delete(page.id);
        fail(`page ${page.id} is stuck: ${wordsOf(error)}`);
        log.error({ err: error, pageId: page.id }, 'a page could not be looked up; trying again when its claim has run out');
      })
      .finally(() => {
        sending.delete(page.id);
        nudge();
      });
    sending.set(page.id, done);
  }

  async function deliver(page: OutboxPage, through: Channel): Promise<void> {
    const nowMs = clock.now();
    const { alarm, pagesOfAlarm, acknowledger, facts } = await gather(page, gathering, nowMs);
    const record: DeliveryFacts = { page, alarm, personName: facts?.person.name ?? page.personId, channelName: through.name };
    const refuse = (error: string): Promise<void> => {
      log.warn({ pageId: page.id, why: error }, 'a page is not sent');
      return settle(page.id, record, { state: 'refused', atMs: clock.now(), error }, clock.now());
    };

    if (page.alarmId !== null && alarm === null) return refuse(`alarm ${page.alarmId} is not in the store`);
    if (facts === null) return refuse(`there is no person "${page.personId}" in the fleet any more`);
    const zone = facts.site?.timeZone ?? facts.person.timeZone;
    const wanted = stillWanted({ page, alarm, pagesOfAlarm, acknowledger, clock: (atMs) => showClock(zone, atMs, nowMs) });
    if (!wanted.send) return refuse(wanted.why);

    let message;
    try {
      message = composePage(facts);
    } catch (error) {
      fail(`page ${page.id} could not be composed: ${wordsOf(error)}`);
      log.error({ err: error, pageId: page.id }, 'a page could not be composed');
      return refuse(`the message could not be composed: ${wordsOf(error)}`);
    }

    try {
      await through.send(message);
    } catch (error) {
      return failed(page, record, error);
    }
    channelFailures = 0;
    resumeMs = null;
    lastError = null;
    lastHandedOverMs = clock.now();
    await settle(page.id, { ...record, detail: { messageId: message.messageId } }, { state: 'handed-over', atMs: lastHandedOverMs }, lastHandedOverMs);
  }

  async function failed(page: OutboxPage, record: DeliveryFacts, error: unknown): Promise<void> {
    if (stopped) return;
    const nowMs = clock.now();
    const sendError = error instanceof SendError ? error : new SendError(`unexpected: ${wordsOf(error)}`, { permanent: false, scope: 'message', cause: error });
    fail(sendError.message);
    log.error({ pageId: page.id, attempt: page.attempts, permanent: sendError.permanent, scope: sendError.scope }, sendError.message);
    if (sendError.permanent) return settle(page.id, record, { state: 'refused', atMs: nowMs, error: sendError.message }, nowMs);

    if (sendError.scope === 'channel') {
      // Sends that failed together are one failure of the channel. No page is given up for it: what is still wanted
      // when the channel is back goes out then.
      if (resumeMs === null || nowMs >= resumeMs) {
        channelFailures += 1;
        resumeMs = nowMs + channelDelayMs(channelFailures, sendError.slow);
      }
      return settle(page.id, record, { state: 'queued', nextTryMs: resumeMs, error: sendError.message }, nowMs);
    }
    // The server answered: the channel as such works.
    channelFailures = 0;
    resumeMs = null;
    if (nowMs - page.createdMs >= GIVE_UP_AFTER_MS) {
      return settle(page.id, record, { state: 'refused', atMs: nowMs, error: `given up after ${showDuration(nowMs - page.createdMs)}: ${sendError.message}` }, nowMs);
    }
    return settle(page.id, record, { state: 'queued', nextTryMs: nowMs + pageDelayMs(page.attempts), error: sendError.message }, nowMs);
  }

  async function settle(pageId: string, facts: DeliveryFacts, outcome: PageOutcome, atMs: number): Promise<void> {
    try {
      await outbox.settle(pageId, outcome, deliveryEntry(facts, outcome, atMs));
    } catch (error) {
      // `permanent`: the page is not ours to settle any more, and asking again would not change that.
      const lost = error instanceof Error && Reflect.get(error, 'permanent') === true;
      fail(`page ${pageId} ended as ${outcome.state}, but the store did not take it: ${wordsOf(error)}`);
      log.error({ err: error, pageId, outcome: outcome.state }, 'a page has ended, but the store did not take it');
      if (!lost) {
        unsettled.set(pageId, { facts, outcome, atMs });
        return;
      }
    }
    unsettled.delete(pageId);
    held.delete(pageId);
  }

  const stopLooking = clock.every(options.sendMs ?? SECOND, nudge);
  nudge();

  return {
    nudge,
    async stop() {
      stopped = true;
      stopLooking();
      await looking;
      let giveUp = (): void => {};
      const enough = new Promise<void>((resolve) => {
        giveUp = clock.every(STOP_MS, resolve);
      });
      await Promise.race([Promise.all(sending.values()), enough]);
      giveUp();
      await channel?.close();
    },
    status() {
      const notSetUp = channel === null;
      return {
        lastError: notSetUp ? MAIL_NOT_SET_UP : (lastError?.text ?? null),
        lastErrorMs: notSetUp ? gathering.senderStartedMs : (lastError?.atMs ?? null),
        lastHandedOverMs,
        oldestUnsentMs,
        nextTryMs: resumeMs,
      };
    },
  };
}

function wordsOf(error: unknown): string {
  return error instanceof Error ? error.message : String(error);
}
