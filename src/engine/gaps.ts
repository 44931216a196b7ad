/**
 * What is missing after an outage. Decided from the stored readings alone, so that it does not matter who lost them: a broker that forgot
 * the session, one whose queue overflowed (a stock mosquitto keeps 1,000 messages of a sleeping client and drops the rest without a word), or
 * Tankbell itself.
 *
 * A hole is a time between two neighbouring readings that touches the outage and is longer than three times the point's cadence. The cadence
 * is what was measured before the outage, or the declared one where too little was. Where stamps are those of arrival, readings the
 * broker held back all carry the time they came at last: so many more than the cadence explains after the hole are not missing.
 */
import { MINUTE, SECOND } from '../domain/duration.ts';
import type { Point, Site } from '../domain/fleet.ts';
import type { JournalEntry } from '../domain/journal.ts';
import { showLocal } from '../domain/local-time.ts';
import type { Outage } from '../domain/outage.ts';
import { Quality, type Reading } from '../domain/reading.ts';

/** Shorter than this nothing is looked up for: a restart, a reconnect. */
export const shortestOutageMs = SECOND;
/** A source that sends many a second may pause for this long. */
const shortestHoleMs = SECOND / 2;
/** What was held back (by a broker, a gateway) has this long to arrive before it counts as missing. */
export const settleMs = 2 * MINUTE;
/** And this long at most, however often the connection breaks again meanwhile. */
export const mostSettleMs = 15 * MINUTE;

export interface PointGap {
  readonly pointId: string;
  readonly fromMs: number;
  readonly toMs: number;
  /** About how many readings. */
  readonly missing: number;
}

const cadenceSteps = 5;
const stepsLookedAt = 30;
/** Fewer than this share of what the hole could have held is jitter and drift. */
const leastShare = 0.05;

/** From where on readings are needed to judge an outage. */
export function lookBackMs(point: Point): number {
  return Math.max(stepsLookedAt * point.everyMs, point.silentAfterMs);
}

/** A time between two readings that is a hole even when nobody knows of an outage. */
export function silenceBoundMs(point: Pick<Point, 'everyMs' | 'silentAfterMs'>): number {
  return Math.max(3 * point.everyMs, point.silentAfterMs);
}

/**
 * @param readings from `lookBackMs` before the outage until now, oldest first.
 * @param toldUntilMs holes that begin before have been told with another outage.
 * @returns `null` when nothing is missing, or when the point has not been heard since: its silence is told elsewhere.
 */
export function gapOf(point: Point, outage: Outage, readings: readonly Pick<Reading, 'atMs' | 'quality'>[], toldUntilMs = Number.NEGATIVE_INFINITY): PointGap | null {
  const { meanMs: cadenceMs, longestMs } = cadenceBefore(outage.fromMs, readings, point.everyMs);
  const boundMs = outage.cause === 'silence' ? silenceBoundMs(point) : Math.max(3 * cadenceMs, 1.5 * longestMs, shortestHoleMs);
  let fromMs: number | null = null;
  let toMs = 0;
  let missing = 0;
  let could = 0;
  let last = -1;
  for (let at = 1; at < readings.length; at += 1) {
    const before = readings[at - 1];
    const after = readings[at];
    if (before === undefined || after === undefined || after.atMs - before.atMs <= boundMs) continue;
    if (before.atMs < toldUntilMs || !concerns(outage, before.atMs, after.atMs)) continue;
    fromMs ??= before.atMs;
    toMs = after.atMs;
    could += (after.atMs - before.atMs) / cadenceMs;
    missing += Math.round((after.atMs - before.atMs) / cadenceMs) - 1;
    last = at;
  }
  if (fromMs === null) return null;
  missing -= heldBack(readings.slice(last), cadenceMs);
  return missing < 2 || missing < leastShare * could ? null : { pointId: point.id, fromMs, toMs, missing };
}

/** Touching is enough for what Tankbell knows to have been lost; a silence is told of the holes that made it, and of no older ones. */
function concerns(outage: Outage, fromMs: number, toMs: number): boolean {
  return outage.cause === 'silence' ? fromMs >= outage.fromMs && toMs <= outage.toMs : fromMs < outage.toMs && toMs > outage.fromMs;
}

/** One row a site, however many points; `null` when nothing is missing there. */
export function gapEntry(site: Site, outage: Outage, gaps: readonly PointGap[]): JournalEntry | null {
  if (gaps.length === 0) return null;
  const missing = gaps.reduce((sum, gap) => sum + gap.missing, 0);
  const fromMs = Math.min(...gaps.map((gap) => gap.fromMs));
  const toMs = Math.max(...gaps.map((gap) => gap.toMs));
  return {
    atMs: outage.dueMs, kind: 'gap', siteId: site.id, tankId: null, alarmId: null, by: 'tankbell',
    text: `${site.name}: about ${missing} readings of ${gaps.length === 1 ? '1 point' : `${gaps.length} points`} are missing from ${showLocal(site.timeZone, fromMs)} to ${showLocal(site.timeZone, toMs)} (${causeWords[outage.cause]})`,
    detail: { cause: outage.cause, outage: { fromMs: outage.fromMs, toMs: outage.toMs }, fromMs, toMs, missing, points: gaps },
  };
}

/** What cannot be looked up is said, too. */
export function damagedEntry(site: Site, outage: Outage, damaged: readonly Point[]): JournalEntry | null {
  const points = damaged.filter(({ siteId }) => siteId === site.id).map(({ id }) => id);
  if (points.length === 0) return null;
  return {
    atMs: outage.dueMs, kind: 'gap', siteId: site.id, tankId: null, alarmId: null, by: 'tankbell',
    text: `${site.name}: what is missing of ${points.length === 1 ? '1 point' : `${points.length} points`} since ${showLocal(site.timeZone, outage.fromMs)} (${causeWords[outage.cause]}) cannot be told, a stored day is damaged`,
    detail: { cause: outage.cause, outage: { fromMs: outage.fromMs, toMs: outage.toMs }, points },
  };
}

const causeWords: Readonly<Record<Outage['cause'], string>> = {
  down: 'Tankbell was not running', connection: 'there was no connection to the broker', silence: 'nothing arrived',
};

interface Cadence {
  /** Mean time between readings: some sources send several at once and then pause. */
  readonly meanMs: number;
  readonly longestMs: number;
}

function cadenceBefore(fromMs: number, readings: readonly Pick<Reading, 'atMs'>[], everyMs: number): Cadence {
  const steps: number[] = [];
  for (let at = 1; at < readings.length; at += 1) {
    const after = readings[at]?.atMs ?? 0;
    if (after > fromMs) break;
    steps.push(after - (readings[at - 1]?.atMs ?? 0));
  }
  // An earlier hole is no cadence.
  const latest = steps.slice(-stepsLookedAt).filter((step) => step <= 3 * everyMs);
  if (latest.length < cadenceSteps) return { meanMs: everyMs, longestMs: everyMs };
  return { meanMs: latest.reduce((sum, step) => sum + step, 0) / latest.length, longestMs: Math.max(...latest) };
}

/** How many more readings came after the hole than the cadence explains, where their stamps are those of arrival. */
function heldBack(after: readonly Pick<Reading, 'atMs' | 'quality'>[], cadenceMs: number): number {
  const stamped = Quality.stampedOnArrival | Quality.clockRefused;
  const first = after[0];
  const last = after.at(-1);
  if (first === undefined || last === undefined || (first.quality & stamped) === 0) return 0;
  return Math.max(0, after.length - (Math.floor((last.atMs - first.atMs) / cadenceMs) + 1));
}
