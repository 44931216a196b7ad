/** Collects from the store and the fleet what a message about one page needs. */
import type { Alarm } from '../domain/alarm.ts';
import { DAY, MINUTE } from '../domain/duration.ts';
import { explainedBy } from '../domain/explained.ts';
import type { Fleet, Person, Point } from '../domain/fleet.ts';
import type { OutboxPage } from '../domain/page.ts';
import type { Logger } from '../log.ts';
import type { Rule } from '../rules/contract.ts';
import type { HistoryReader } from '../store/contract.ts';
import type { AckLinks } from './ack-link.ts';
import type { AcknowledgeLink, ExplainedAlarm, LatestReading, OnCallFacts, PageFacts } from './facts.ts';
import { threadRootOf } from './message-id.ts';
import type { Acknowledger } from './still-wanted.ts';

/** Long enough for a weekend; the alarm page itself needs a login instead. */
export const ACKNOWLEDGE_LINK_MS = 3 * DAY;
/** A page that goes out this much after it was decided says so. */
export const LATE_AFTER_MS = 2 * MINUTE;
/** More than any alarm gets (`maxPagesPerAlarm` in src/oncall), with the all-clears. */
const MAX_PAGES = 500;
const MAX_LATEST = 6;
const MAX_OPEN = 1000;

export interface GatherOptions {
  readonly history: HistoryReader;
  readonly fleet: () => Fleet;
  readonly rules: () => readonly Rule[];
  readonly live: LivePoints;
  readonly links: AckLinks;
  readonly log: Logger;
  readonly notice: string | null;
  /** When this sender began: pages decided before that may have waited for it. */
  readonly senderStartedMs: number;
}

/** What is known of points beside their readings. */
export interface LivePoints {
  /** Why the latest value of a point cannot be believed although it is fresh (`its gateway … is offline since …`), or `null`. */
  offline(pointId: string): string | null;
  /** The point with the cadence its source promised, where it did. */
  atPresent(point: Point): Point;
}

export interface Gathered {
  readonly alarm: Alarm | null;
  readonly pagesOfAlarm: readonly OutboxPage[];
  readonly acknowledger: Acknowledger | null;
  /** `null`: the person is not in the fleet any more. */
  readonly facts: PageFacts | null;
}

/** @throws StoreError when the store cannot be read. */
export async function gather(page: OutboxPage, options: GatherOptions, nowMs: number): Promise<Gathered> {
  const { history, links, notice, senderStartedMs } = options;
  const fleet = options.fleet();
  const alarm = page.alarmId === null ? null : await history.alarm(page.alarmId);
  const pagesOfAlarm = page.alarmId === null ? [] : await history.pages({ alarmId: page.alarmId, limit: MAX_PAGES });
  const acknowledger = alarm === null ? null : acknowledgerOf(alarm, fleet.people);
  const person = fleet.people.find((one) => one.id === page.personId);
  if (person === undefined) return { alarm, pagesOfAlarm, acknowledger, facts: null };

  const rule = alarm === null ? undefined : options.rules().find((one) => one.id === alarm.ruleId);
  const tank = alarm === null ? undefined : fleet.tanks.find((one) => one.id === alarm.tankId);
  const site = alarm === null ? undefined : fleet.sites.find((one) => one.id === alarm.siteId);
  const client = site === undefined ? undefined : fleet.clients.find((one) => one.id === site.clientId);
  return {
    alarm,
    pagesOfAlarm,
    acknowledger,
    facts: {
      page,
      person,
      alarm,
      tank: tank ?? null,
      site: site ?? null,
      client: client ?? null,
      equipment: rule?.equipment ?? null,
      firstChecks: rule === undefined ? [] : checksOf(rule, options.log),
      latest: rule === undefined ? [] : await latestOf(rule, options, nowMs),
      onCall: onCallFacts(alarm, fleet, acknowledger),
      explains: alarm === null ? [] : await explainedOf(alarm, history, fleet),
      threadRoot: threadRootOf(page, pagesOfAlarm),
      lateWhy: lateWhy(page, senderStartedMs, nowMs),
      links: {
        acknowledge: alarm === null ? null : acknowledgeLink(alarm, person, links, nowMs),
        alarm: alarm === null ? null : `${links.publicUrl}/alarms/${alarm.id}`,
      },
      nowMs,
      notice,
    },
  };
}

/** A rule whose advice fails must not silence its alarm. */
function checksOf(rule: Rule, log: Logger): readonly string[] {
  const { tank, site } = rule.facts;
  try {
    return rule.kind.firstChecks({ settings: rule.settings, tank, site, equipment: rule.equipment });
  } catch (error) {
    log.error({ err: error, ruleId: rule.id }, 'the first checks of a rule could not be written; its page goes out with the general caution');
    return [];
  }
}

async function explainedOf(alarm: Alarm, history: HistoryReader, fleet: Fleet): Promise<readonly ExplainedAlarm[]> {
  const open = await history.alarms({ siteId: alarm.siteId, open: true, limit: MAX_OPEN });
  return explainedBy(alarm.id, open).filter(({ cause, returnedMs }) => cause?.quiet === true && returnedMs === null).map(({ title, tankId, summary }) => ({
    title, summary, tankName: fleet.tanks.find(({ id }) => id === tankId)?.name ?? tankId,
  }));
}

async function latestOf(rule: Rule, { history, live }: GatherOptions, nowMs: number): Promise<readonly LatestReading[]> {
  const points = [...new Map([...rule.roles.values()].map((point) => [point.id, point])).values()].slice(0, MAX_LATEST);
  const found: LatestReading[] = [];
  for (const point of points) {
    const series = await history.seriesOf(point.id);
    const reading = series === null ? null : await history.latest(series);
    if (reading === null) continue;
    const offlineWhy = live.offline(point.id);
    const current = offlineWhy === null && nowMs - reading.atMs <= live.atPresent(point).silentAfterMs;
    found.push({ pointName: point.name, kind: point.kind, value: reading.value, atMs: reading.atMs, current, offlineWhy });
  }
  return found;
}

function onCallFacts(alarm: Alarm | null, fleet: Fleet, acknowledger: Acknowledger | null): OnCallFacts {
  if (alarm === null) return { paged: [], next: null, acknowledgedBy: null };
  const nameOf = (personId: string): string => fleet.people.find((one) => one.id === personId)?.name ?? personId;
  const { nextStep, dueMs, paged } = alarm.escalation;
  const { steps } = fleet.onCall;
  const next = steps.length === 0 || dueMs === null ? undefined : steps[nextStep % steps.length];
  return {
    paged: paged.map(nameOf),
    next: next === undefined || dueMs === null ? null : { personId: next.personId, name: nameOf(next.personId), atMs: dueMs },
    acknowledgedBy: acknowledger?.name ?? null,
  };
}

/** Alarms keep who acknowledged as journaled: a person's id or name, or the name of a login. */
function acknowledgerOf(alarm: Alarm, people: readonly Person[]): Acknowledger | null {
  const by = alarm.acknowledgedBy;
  if (by === null) return null;
  const person = people.find((one) => one.id === by) ?? people.find((one) => one.name === by);
  return { name: person?.name ?? by, personId: person?.id ?? null };
}

function acknowledgeLink(alarm: Alarm, person: Person, links: AckLinks, nowMs: number): AcknowledgeLink | null {
  // Held alarms refuse acknowledgement; those acknowledged or closed have nothing left to press.
  if (alarm.state !== 'unacknowledged' && alarm.state !== 'returned') return null;
  const expiresMs = nowMs + ACKNOWLEDGE_LINK_MS;
  return { url: links.link(alarm.id, person.id, expiresMs), expiresMs };
}

function lateWhy(page: OutboxPage, senderStartedMs: number, nowMs: number): string | null {
  if (nowMs - page.createdMs < LATE_AFTER_MS) return null;
  if (page.lastError !== null) return `Earlier tries failed: ${page.lastError}`;
  // The first try of a page that is older than this sender: nobody was there to send it.
  if (page.createdMs < senderStartedMs) return 'Tankbell was not running, or had no mail server, in between';
  return 'Earlier mail had to go out first';
}
