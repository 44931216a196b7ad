/**
 * What was seen of a trial, held against the truth.
 *
 * An alarm answers a fault when it opened after the fault began and the healthy twin (same noise, same visits, no fault) did not open the same one within an
 * hour; what the twin opens too is a false alarm beside it. A page counts when it rings for something: the first about an alarm, the one that waited
 * for the morning, the one of an alarm that outlived its cause. That something is over, or is still unacknowledged, is not another page.
 */
import type { Departure } from '../../simulator/departure.ts';
import type { Trial, Truth } from '../../simulator/trial.ts';
import type { Happening } from '../../simulator/world/life.ts';
import type { Alarm } from '../../src/domain/alarm.ts';
import { DAY, HOUR, MINUTE } from '../../src/domain/duration.ts';
import type { PageReason } from '../../src/domain/page.ts';
import type { Rule } from '../../src/rules/contract.ts';
import type { Forecast } from './forecast.ts';
import { ownDelayMs } from './own-delay.ts';
import type { FaultJob, HealthyJob } from './run.ts';
import type { Seen } from './watch.ts';

export interface FaultScore {
  readonly type: 'fault';
  readonly job: FaultJob;
  readonly does: string;
  readonly beginMs: number;
  /** Rule kinds that name it. */
  readonly names: readonly string[];
  /** The rule kind that paged first, or where none paged, stood on the list first; `null`: missed. */
  readonly named: string | null;
  readonly namedRight: boolean;
  /** `list`: a rule of low priority, which pages nobody. */
  readonly by: 'page' | 'list' | null;
  /** Rings, in order. */
  readonly pages: readonly Ring[];
  /** From the beginning to the alarm that names it rightly; where none does, to the one that found it. */
  readonly delayMs: number | null;
  /** From the beginning to the first reading that the healthy twin would not show; `null`: none within the trial. */
  readonly departureMs: number | null;
  /** Of the rule whose delay it is. */
  readonly ownDelayMs: number | null;
  /** What rang before the fault began, or would have rung without it. */
  readonly falsePages: readonly Ring[];
  readonly forecasts: readonly Forecast[];
}

export interface HealthyScore {
  readonly type: 'healthy';
  readonly job: HealthyJob;
  readonly months: number;
  readonly falsePages: readonly Ring[];
  /** Alarms of low priority: on the list, paging nobody. */
  readonly falseListed: readonly Ring[];
}

export interface Ring {
  readonly ruleKind: string;
  readonly ruleId: string;
  readonly atMs: number;
  readonly summary: string;
  /** What people did just then. */
  readonly during: Happening['what'] | null;
}

const rings: ReadonlySet<PageReason> = new Set(['opened', 'morning', 'surfaced']);
const SAME_WITHIN_MS = HOUR;
/** What somebody did still shows so long afterwards; the one that shows most is named. */
const aftermathMs: readonly (readonly [Happening['what'], number])[] = [['visit', 2 * HOUR], ['refill', HOUR], ['feeding', HOUR / 2]];
export const MONTH_MS = 30 * DAY;

/** How long it may take: half again as long as it takes to show at all, and what the rule waits. */
export const boundMs = ({ departureMs, ownDelayMs: own }: Pick<FaultScore, 'departureMs' | 'ownDelayMs'>): number | null =>
  departureMs === null || own === null ? null : 1.5 * departureMs + own;

export async function judgeFault(job: FaultJob, truth: Truth, departure: Departure | null, seen: Seen, rules: readonly Rule[], watchTwin: (untilMs: number) => Promise<Seen>): Promise<FaultScore> {
  const { beginMs, names, does } = truth;
  const isRight = ({ ruleKind }: { readonly ruleKind: string }): boolean => names.includes(ruleKind);
  const answers = seen.alarms.filter((alarm) => alarm.openedMs >= beginMs);
  const ringing = answers.filter((alarm) => ringsOf(seen, alarm) > 0);
  const isPlain = answers.every((alarm) => isRight(alarm) || isExplained(alarm) || alarm.policy.priority === 'journal') && ringing.length <= 1;
  // The twin's life after the last of them is of no interest.
  const twin = isPlain ? null : await watchTwin(Math.max(...answers.map(({ openedMs }) => openedMs)) + SAME_WITHIN_MS + MINUTE);
  const isOfFault = (alarm: Alarm): boolean => twin === null || !twin.alarms.some((other) => other.ruleId === alarm.ruleId && Math.abs(other.openedMs - alarm.openedMs) <= SAME_WITHIN_MS);

  const own = answers.filter(isOfFault);
  const pages = ringsAmong(seen, own);
  const listed = own.filter((alarm) => alarm.policy.priority === 'low' && !isExplained(alarm));
  const first = pages[0] ?? listed[0] ?? null;
  const loud = own.filter((alarm) => listed.includes(alarm) || ringsOf(seen, alarm) > 0);
  const timed = loud.find(isRight) ?? loud[0] ?? null;
  const rule = timed === null ? undefined : rules.find(({ id }) => id === timed.ruleId);
  return {
    type: 'fault', job, does, beginMs, names,
    named: first?.ruleKind ?? null,
    namedRight: first !== null && isRight(first),
    by: pages.length > 0 ? 'page' : listed.length > 0 ? 'list' : null,
    pages,
    delayMs: timed === null ? null : timed.openedMs - beginMs,
    departureMs: departure === null ? null : departure.atMs - beginMs,
    ownDelayMs: timed === null || rule === undefined ? null : ownDelayMs(rule, timed.policy.onDelayMs, seen.statesAtOpening.get(timed.id)),
    falsePages: ringsAmong(seen, seen.alarms.filter((alarm) => alarm.openedMs < beginMs || !isOfFault(alarm))),
    forecasts: seen.forecasts,
  };
}

export function judgeHealthy(job: HealthyJob, { startMs, endMs }: Trial, seen: Seen): HealthyScore {
  return {
    type: 'healthy', job, months: (endMs - startMs) / MONTH_MS,
    falsePages: ringsAmong(seen, seen.alarms),
    falseListed: seen.alarms.filter(({ policy, cause }) => policy.priority === 'low' && cause === null).map((alarm) => ringOf(alarm, alarm.openedMs, seen)),
  };
}

const isExplained = (alarm: Alarm): boolean => alarm.cause !== null && alarm.escalation.paged.length === 0;

const ringsOf = (seen: Seen, alarm: Alarm): number => ringsAmong(seen, [alarm]).length;

/** One for each page that rings about one of these, in order of time; with those that wait for a morning after the end of the trial. */
function ringsAmong(seen: Seen, alarms: readonly Alarm[]): readonly Ring[] {
  const byId = new Map(alarms.map((alarm) => [alarm.id, alarm]));
  const rung = seen.pages.flatMap((page) => {
    const alarm = page.alarmId === null ? undefined : byId.get(page.alarmId);
    return alarm === undefined || !rings.has(page.reason) ? [] : [ringOf(alarm, page.createdMs, seen)];
  });
  const waiting = alarms.flatMap((alarm) => (alarm.escalation.dueMs === null || alarm.escalation.paged.length > 0 ? [] : [ringOf(alarm, alarm.escalation.dueMs, seen)]));
  return [...rung, ...waiting].sort((a, b) => a.atMs - b.atMs);
}

function ringOf({ ruleKind, ruleId, summary, beganMs }: Alarm, atMs: number, { happenings }: Seen): Ring {
  const during = aftermathMs.find(([what, lastsMs]) => happenings.some((one) => one.what === what && beganMs >= one.beginMs - MINUTE && beganMs <= one.endMs + lastsMs))?.[0] ?? null;
  return { ruleKind, ruleId, atMs, summary, during };
}
