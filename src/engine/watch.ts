/**
 * The live state of every tank and the one function that moves it: readings, commands and the passing of time in,
 * decisions out into a `BatchBuilder`. No I/O, no clock; the engine (`engine.ts`) commits what is decided here.
 *
 * Same input, same decisions: each input carries the time it arrived, and before it is looked at every deadline that lies before that
 * time fires *at its own time*, earliest first. So neither the size of a batch, nor how often the clock ticks, nor a restart in between
 * can change what is decided (`tests/engine/determinism.test.ts`).
 */
import { graceMs, initialStatus, isNoNews, removeRule, type LifeEvent, type LifeFacts, type Transition, stepLife } from '../alarms/lifecycle.ts';
import { type Alarm, type AlarmStatus, type Escalation, isBehindCause } from '../domain/alarm.ts';
import type { Calibration } from '../domain/calibration.ts';
import type { Command, CommandResult } from '../domain/command.ts';
import { MINUTE, showDuration } from '../domain/duration.ts';
import { explainedBy } from '../domain/explained.ts';
import type { Fleet, Point, Site } from '../domain/fleet.ts';
import { showLocal } from '../domain/local-time.ts';
import type { Outage } from '../domain/outage.ts';
import type { PointState, PresenceChange } from '../domain/presence.ts';
import { isUsable, Quality, type Reading, type Sample, type SeriesId } from '../domain/reading.ts';
import type { SourceClock } from '../domain/source-clock.ts';
import type { Verdict } from '../domain/verdict.ts';
import { calibrate, type Curve, curvesOf } from '../ingest/calibration.ts';
import { Intake, isRefusal } from '../ingest/intake.ts';
import { pageNext, resumeEscalation, returnedPages, type Rota, startEscalation, stopEscalation } from '../oncall/escalation.ts';
import type { Quiet, Rule, RuleInput, WrongClock } from '../rules/contract.ts';
import { type PointNow, restoreState, Stepper } from '../rules/step.ts';
import type { LiveState } from '../store/contract.ts';
import type { BatchBuilder } from './batch.ts';
import { Causes } from './causes.ts';
import { type Deadline, Deadlines } from './deadlines.ts';
import { damagedEntry, gapEntry, gapOf, lookBackMs, mostSettleMs, type PointGap, settleMs, shortestOutageMs, silenceBoundMs } from './gaps.ts';
import { clockText, transitionText } from './words.ts';

/** Why a rule that is gone is unknown; a rule of the same name that comes back begins anew. */
const removedWhy = 'the rule is no longer in the fleet';

const noPoints: readonly PointLive[] = [];

/** A longer pause between two signs of life means that nobody was watching. Signs of life are stored at least every 30 s. */
export const downtimeBoundMs = 90_000;

interface Watched {
  readonly rule: Rule;
  readonly stepper: Stepper;
  readonly facts: Omit<LifeFacts, 'nextAlarmId'>;
  state: unknown;
  wakeAtMs: number | null;
  status: AlarmStatus;
  verdict: Verdict | null;
  /** One for each role. */
  readonly listeners: Listener[];
  /** The promise of its latest step (`Quiet`), without regard to points that may fall silent before. It is not stored: whoever starts anew steps once more. */
  quietFromMs: number;
  promisedUntilMs: number;
}

/** A rule that hears a point. */
interface Listener {
  readonly watched: Watched;
  readonly role: string;
  readonly live: PointLive;
  /** Where in `live.skips` stands what it need not hear. */
  readonly at: number;
}

/** Of each listener four numbers: readings stamped from the first on, before the second, with values from the third to the fourth need no step. Side by side, since every reading looks at all of them. */
const skipLength = 4;

class PointLive implements PointNow {
  /** With the cadence its source promised, where it did. */
  point: Point;
  readonly zone: string;
  state: PointState;
  readonly series: SeriesId | undefined;
  readonly listeners: Listener[] = [];
  skips = new Float64Array(0);
  /** `null`: as it comes. */
  readonly curve: Curve | null;
  /** As calibrated, like everything that is judged or shown. */
  latest: Reading | null = null;
  previous: Reading | null = null;
  /** Time of the latest reading of any quality. */
  lastStampMs: number | null = null;
  /** By rule that does not believe the sensor: why. Follows from the rules' states. */
  readonly doubts = new Map<string, string>();
  readonly #intake: Intake;
  readonly #statuses: ReadonlyMap<string, AlarmStatus>;

  constructor(point: Point, zone: string, state: PointState, series: SeriesId | undefined, curve: Curve | null, intake: Intake, statuses: ReadonlyMap<string, AlarmStatus>) {
    this.point = withCadence(point, state.cadenceMs);
    this.zone = zone;
    this.state = state;
    this.series = series;
    this.curve = curve;
    this.#intake = intake;
    this.#statuses = statuses;
  }

  get offline(): string | null {
    return this.state.offline === null ? null : this.state.offline.why;
  }

  get wrongClock(): WrongClock | null {
    const clock = this.#intake.clockOf(this.point.id);
    return clock?.wrongSinceMs == null ? null : { sinceMs: clock.wrongSinceMs, behindMs: clock.leastLagMs };
  }

  get heardMs(): number | null {
    const clock = this.#intake.clockOf(this.point.id);
    return clock === null || clock.wrongSinceMs !== null ? null : clock.lastMs;
  }

  doubted(askedBy: string): string | null {
    // By far the most frequent case.
    if (this.doubts.size === 0) return null;
    let first: string | null = null;
    for (const ruleId of this.doubts.keys()) {
      const hold = this.#statuses.get(ruleId)?.hold ?? null;
      // Whoever puts the alarm aside believes the sensor. Of several the same one speaks after a restart.
      if (ruleId !== askedBy && (hold === null || hold.kind === 'suppressed') && (first === null || ruleId < first)) first = ruleId;
    }
    return first === null ? null : (this.doubts.get(first) ?? null);
  }
}

export class Watch {
  readonly statuses = new Map<string, AlarmStatus>();
  readonly openAlarms = new Map<number, Alarm>();
  readonly #watched = new Map<string, Watched>();
  readonly #points = new Map<string, PointLive>();
  readonly #deadlines = new Deadlines();
  readonly #outages = new Map<string, Outage>();
  readonly #curves: ReadonlyMap<string, readonly Calibration[]>;
  readonly #sites: readonly Site[];
  readonly #intake: Intake;
  readonly #rota: Rota;
  readonly #causes: Causes;
  /** Rules that have a stored state: they have been woken before. */
  readonly #known: ReadonlySet<string>;
  #nextAlarmId: number;

  constructor(fleet: Fleet, rules: readonly Rule[], series: ReadonlyMap<string, SeriesId>, stored: LiveState) {
    this.#intake = new Intake(fleet, series, stored.lastStampMs, stored.clocks);
    this.#rota = { onCall: fleet.onCall, people: new Map(fleet.people.map((person) => [person.id, person])) };
    this.#nextAlarmId = stored.nextAlarmId;
    this.#sites = fleet.sites;
    this.#curves = curvesOf(stored.calibrations);
    for (const outage of stored.outages) this.#outages.set(outage.id, outage);
    this.#causes = new Causes(rules, { status: (ruleId) => this.statuses.get(ruleId) ?? null, alarm: (id) => this.openAlarms.get(id) ?? null, state: (ruleId) => this.#watched.get(ruleId)?.state });

    const states = new Map(stored.pointStates.map((state) => [state.pointId, state]));
    const zones = new Map(fleet.sites.map((site) => [site.id, site.timeZone]));
    for (const point of fleet.points) {
      const id = series.get(point.id);
      const curve = this.#curves.get(point.id) ?? null;
      const live = new PointLive(point, zones.get(point.siteId) ?? 'UTC', states.get(point.id) ?? { pointId: point.id, offline: null, cadenceMs: null }, id, curve, this.#intake, this.statuses);
      if (id !== undefined) {
        [live.latest = null, live.previous = null] = (stored.latest.get(id) ?? []).map((reading) => calibrated(reading, curve));
        live.lastStampMs = stored.lastStampMs.get(id) ?? null;
      }
      this.#points.set(point.id, live);
    }
    const storedStates = new Map(stored.ruleStates.map((row) => [row.ruleId, row]));
    const known = new Set<string>();
    this.#known = known;
    const storedStatuses = new Map(stored.statuses.map((row) => [row.ruleId, row]));
    for (const rule of rules) {
      const status = storedStatuses.get(rule.id) ?? initialStatus(rule.id);
      const row = status.unknownWhy === removedWhy ? undefined : storedStates.get(rule.id);
      const restored = row === undefined ? null : restoreState(rule, row.state);
      if (restored !== null) known.add(rule.id);
      const watched: Watched = {
        rule,
        stepper: new Stepper(rule, (point) => this.#pointOf(rule, point)),
        facts: {
          ruleId: rule.id, ruleKind: rule.kind.kind, tankId: rule.facts.tank.id, siteId: rule.facts.site.id, title: rule.title, policy: rule.policy,
          explain: (now, nowMs) => this.#causes.explain(rule, now, nowMs),
          leadsTo: (now) => this.#causes.leadsTo(rule, now),
        },
        state: restored === null ? rule.kind.initial : restored.state,
        wakeAtMs: restored === null ? null : (row?.wakeAtMs ?? null),
        status,
        verdict: null,
        listeners: [],
        quietFromMs: Number.POSITIVE_INFINITY,
        promisedUntilMs: Number.NEGATIVE_INFINITY,
      };
      this.#watched.set(rule.id, watched);
      this.statuses.set(rule.id, watched.status);
      this.#noteDoubts(watched);
      for (const [role, point] of rule.roles) {
        const live = this.#pointOf(rule, point);
        const listener: Listener = { watched, role, live, at: skipLength * live.listeners.length };
        watched.listeners.push(listener);
        live.listeners.push(listener);
      }
    }
    // All numbers are 0: nothing is skipped.
    for (const live of this.#points.values()) live.skips = new Float64Array(skipLength * live.listeners.length);
    for (const alarm of stored.openAlarms) this.openAlarms.set(alarm.id, alarm);
  }

  #pointOf(rule: Rule, { id }: Point): PointLive {
    const live = this.#points.get(id);
    if (live === undefined) throw new Error(`the rule ${rule.id} reads ${id}, which is not in the fleet`);
    return live;
  }

  latest(pointId: string): Reading | null {
    return this.#points.get(pointId)?.latest ?? null;
  }

  lastStampMs(pointId: string): number | null {
    return this.#points.get(pointId)?.lastStampMs ?? null;
  }

  offline(pointId: string): string | null {
    return this.#points.get(pointId)?.offline ?? null;
  }

  atPresent(point: Point): Point {
    return this.#points.get(point.id)?.point ?? point;
  }

  calibrations(pointId: string): readonly Calibration[] {
    return this.#curves.get(pointId) ?? [];
  }

  verdict(ruleId: string): Verdict | null {
    return this.#watched.get(ruleId)?.verdict ?? null;
  }

  /** What a restart forgets and a change of the fleet need not: the numbers behind the present verdicts. */
  takeOver(before: Watch): void {
    for (const watched of this.#watched.values()) watched.verdict ??= before.#watched.get(watched.rule.id)?.verdict ?? null;
  }

  /** Takes up where the last process left off. */
  start(stored: LiveState, nowMs: number, into: BatchBuilder): void {
    for (const status of stored.statuses) {
      if (!this.#watched.has(status.ruleId)) this.#dropRule(status, nowMs, into);
    }
    for (const { rule, status, wakeAtMs } of this.#watched.values()) {
      this.#deadlines.set('delay', rule.id, status.dueMs);
      this.#deadlines.set('hold', rule.id, status.hold?.untilMs ?? null);
      this.#deadlines.set('wake', rule.id, wakeAtMs);
    }
    for (const alarm of this.openAlarms.values()) this.#deadlines.set('escalation', String(alarm.id), alarm.escalation.dueMs);
    if (stored.aliveMs !== null) this.noteOutage('down', stored.aliveMs, nowMs, into);
    if (stored.aliveMs !== null && nowMs - stored.aliveMs > downtimeBoundMs) this.resume(stored.aliveMs, nowMs, into);
    for (const watched of this.#watched.values()) {
      if (!this.#known.has(watched.rule.id)) this.#judge(watched, { type: 'wake' }, nowMs, nowMs, into);
    }
    // A cause that is not in the fleet any more has left what it explained behind.
    for (const alarm of [...this.openAlarms.values()]) {
      const watched = this.#watched.get(alarm.ruleId);
      if (alarm.cause !== null && !this.openAlarms.has(alarm.cause.alarmId) && watched !== undefined) this.#reconsider(watched, nowMs, into);
    }
  }

  /**
   * Nobody watched from `fromMs` until now (the process was down, or frozen). That time is taken out of everything that waits for
   * silence or for a delay (the grace after a cause among them), so that it does not ring for it; shelves go by the clock; an escalation that fell due meanwhile is due now,
   * once, and goes on from here.
   */
  resume(fromMs: number, nowMs: number, into: BatchBuilder): void {
    const pausedMs = nowMs - fromMs;
    into.journal.push({
      atMs: nowMs, kind: 'gap', siteId: null, tankId: null, alarmId: null, by: 'tankbell',
      text: `Tankbell was not watching for ${showDuration(pausedMs)}`, detail: { fromMs, toMs: nowMs },
    });
    for (const watched of this.#watched.values()) {
      const { rule, status, wakeAtMs } = watched;
      const alarm = this.#openAlarm(watched);
      const inGrace = alarm !== null && isBehindCause(alarm) && status.hold !== null && status.hold.untilMs !== null ? { ...status.hold, untilMs: status.hold.untilMs + pausedMs } : null;
      if (status.dueMs !== null || inGrace !== null) {
        const heldBackMs = status.heldBackMs === null ? null : status.heldBackMs + pausedMs;
        const shifted: AlarmStatus = { ...status, heldBackMs, dueMs: status.dueMs === null ? null : status.dueMs + pausedMs, hold: inGrace ?? status.hold };
        this.#setStatus(watched, shifted, into);
        this.#setLifeDeadlines(shifted);
      }
      if (wakeAtMs !== null) {
        // What was silent is not known: every point has its full time to be heard again.
        const patienceMs = Math.max(0, ...[...rule.roles.values()].map((point) => this.atPresent(point).silentAfterMs + 1));
        watched.wakeAtMs = Math.max(wakeAtMs + pausedMs, nowMs + patienceMs);
        into.ruleState({ ruleId: rule.id, state: watched.state, wakeAtMs: watched.wakeAtMs });
        this.#deadlines.set('wake', rule.id, watched.wakeAtMs);
      }
    }
    for (const alarm of this.openAlarms.values()) {
      const { dueMs } = alarm.escalation;
      if (dueMs !== null && dueMs < nowMs) this.#setAlarm({ ...alarm, escalation: { ...alarm.escalation, dueMs: nowMs } }, into);
    }
  }

  /** What was lost between these times will be looked up. What waits from before is looked up then, too: it may arrive with the rest. */
  noteOutage(cause: 'down' | 'connection', fromMs: number, nowMs: number, into: BatchBuilder): void {
    if (nowMs - fromMs < shortestOutageMs) return;
    const dueMs = nowMs + settleMs;
    for (const waiting of this.#outages.values()) {
      const latestMs = Math.max(waiting.dueMs, Math.min(dueMs, waiting.toMs + mostSettleMs));
      if (latestMs !== waiting.dueMs) this.#setOutage({ ...waiting, dueMs: latestMs }, into);
    }
    this.#setOutage({ id: `${cause}/*/${fromMs}`, cause, siteId: null, fromMs, toMs: nowMs, dueMs }, into);
  }

  /** The earliest time at which an outage is to be told; what arrived until then must be in the store before. */
  get outageDueMs(): number | null {
    let earliest: number | null = null;
    for (const { dueMs } of this.#outages.values()) if (earliest === null || dueMs < earliest) earliest = dueMs;
    return earliest;
  }

  /** Tells what is missing after the outages due by `dueMs`. @param readingsOf a series' stored readings in [fromMs, toMs); `null`: some are damaged. */
  async tellGaps(dueMs: number, readingsOf: (series: SeriesId, fromMs: number, toMs: number) => Promise<readonly Reading[] | null>, into: BatchBuilder): Promise<void> {
    this.advance(dueMs, into);
    const toldUntilMs = new Map<string, number>();
    for (const outage of [...this.#outages.values()].filter((one) => one.dueMs <= dueMs).sort((a, b) => a.fromMs - b.fromMs || (a.id < b.id ? -1 : 1))) {
      const bySite = new Map<string, PointGap[]>();
      const damaged: Point[] = [];
      for (const { point, series, lastStampMs } of this.#points.values()) {
        if (point.source === null || (outage.siteId !== null && point.siteId !== outage.siteId)) continue;
        // Not heard since: there is no second reading that would show a hole.
        if (series === undefined || lastStampMs === null || lastStampMs <= outage.fromMs) continue;
        const readings = await readingsOf(series, outage.fromMs - lookBackMs(point), dueMs + 1);
        if (readings === null) damaged.push(point);
        const gap = readings === null ? null : gapOf(point, outage, readings, toldUntilMs.get(point.id));
        if (gap === null) continue;
        toldUntilMs.set(point.id, gap.toMs);
        bySite.set(point.siteId, [...(bySite.get(point.siteId) ?? []), gap]);
      }
      for (const site of this.#sites) {
        const entries = [gapEntry(site, outage, bySite.get(site.id) ?? []), damagedEntry(site, outage, damaged)];
        into.journal.push(...entries.filter((entry) => entry !== null));
      }
      this.#outages.delete(outage.id);
      into.outage(outage.id, null);
    }
  }

  /** Fires every deadline before `nowMs`, each at its own time. */
  advance(nowMs: number, into: BatchBuilder): void {
    for (let due = this.#deadlines.take(nowMs); due !== null; due = this.#deadlines.take(nowMs)) this.#fire(due, into);
  }

  /** One sample of a delivery that arrived at `arrivedMs`; `advance(arrivedMs)` comes first. */
  sample(sample: Sample, arrivedMs: number, into: BatchBuilder, fromFile = false): void {
    const taken = this.#intake.take(sample, arrivedMs, fromFile);
    if (this.#intake.clockSteps.length > 0) this.#noteClocks(arrivedMs, into);
    if (isRefusal(taken)) {
      into.refusal(taken, arrivedMs);
      return;
    }
    into.reading(taken);
    const live = this.#points.get(sample.pointId);
    if (live === undefined || (taken.quality & Quality.history) !== 0) return;
    // Straight from the source, and of later: it is back, whoever has not said so.
    if (live.state.offline !== null && taken.atMs >= live.state.offline.sinceMs) this.#setState(live, { ...live.state, offline: null }, into);
    if (sample.nextWithinMs !== undefined && live.point.cadence === 'sent' && sample.nextWithinMs !== live.state.cadenceMs) this.#setCadence(live, sample.nextWithinMs, arrivedMs, into);
    const isNew = live.lastStampMs === null || taken.atMs > live.lastStampMs;
    if (live.lastStampMs === null || isNew) {
      if (live.lastStampMs !== null && taken.atMs - live.lastStampMs > silenceBoundMs(live.point)) this.#noteSilence(live, live.lastStampMs, taken.atMs, arrivedMs, into);
      live.lastStampMs = taken.atMs;
    }
    if (!isUsable(taken.quality)) {
      endQuiet(live);
      if (isNew && taken.atMs >= arrivedMs - live.point.silentAfterMs) this.#judgeImpossible(live, taken, arrivedMs, into);
      return;
    }
    // Known already, or older than what has been judged: it belongs to history, not to now.
    if (live.latest !== null && taken.atMs <= live.latest.atMs) return;
    const now = calibrated(taken, live.curve);
    const { atMs, value } = now;
    const isTooLate = atMs < arrivedMs - live.point.silentAfterMs;
    if (isTooLate || live.latest === null || atMs - live.latest.atMs > live.point.silentAfterMs) endQuiet(live);
    live.previous = live.latest;
    live.latest = now;
    if (isTooLate) return;
    let input: Extract<RuleInput, { type: 'reading' }> | null = null;
    const { listeners, skips } = live;
    for (let index = 0; index < listeners.length; index += 1) {
      const at = skipLength * index;
      // By far the most frequent case.
      if (atMs >= (skips[at] ?? Number.NaN) && atMs < (skips[at + 1] ?? Number.NaN) && value >= (skips[at + 2] ?? Number.NaN) && value <= (skips[at + 3] ?? Number.NaN)) continue;
      const listener = listeners[index];
      if (listener === undefined) break;
      const { watched, role } = listener;
      if (input === null || input.role !== role) input = { type: 'reading', role, atMs, value };
      this.#judge(watched, input, atMs, arrivedMs, into);
    }
  }

  #judgeImpossible({ listeners }: PointLive, { atMs, value }: Reading, arrivedMs: number, into: BatchBuilder): void {
    for (const { watched, role } of listeners) {
      if (watched.rule.kind.hearsImpossible === true) this.#judge(watched, { type: 'impossible', role, atMs, value }, atMs, arrivedMs, into);
    }
  }

  clocks(): readonly SourceClock[] {
    return this.#intake.clocks();
  }

  #noteClocks(nowMs: number, into: BatchBuilder): void {
    for (const { source, point, before, after } of this.#intake.clockSteps.splice(0)) {
      into.clock(source, after);
      const sent = [...this.#points.values()].filter((live) => (live.point.source?.topic ?? live.point.id) === source);
      sent.forEach(endQuiet);
      const wasWrongMs = before?.wrongSinceMs ?? null;
      const isWrongMs = after?.wrongSinceMs ?? null;
      if ((wasWrongMs === null) === (isWrongMs === null)) continue;
      this.#judgeListeners(sent, nowMs, into);
      into.journal.push({
        atMs: nowMs, kind: 'service', siteId: point.siteId, tankId: null, alarmId: null, by: 'tankbell',
        text: clockText(source, wasWrongMs, after, nowMs), detail: { source, wrong: isWrongMs !== null, lagMs: after === null ? null : after.leastLagMs },
      });
    }
  }

  /** A gateway came or went. Its points have no current value while it is away, at once and whatever their age. */
  presence(change: PresenceChange, arrivedMs: number, into: BatchBuilder): void {
    const changed: PointLive[] = [];
    for (const pointId of change.pointIds) {
      const live = this.#points.get(pointId);
      if (live === undefined || (live.state.offline === null) === (change.state === 'online')) continue;
      const offline = change.state === 'online' ? null : { sinceMs: change.atMs, why: `${change.why} since ${showLocal(live.zone, change.atMs)}` };
      this.#setState(live, { ...live.state, offline }, into);
      changed.push(live);
    }
    // Said before already: a repeated delivery.
    const [first] = changed;
    if (first === undefined) return;
    if (change.journal !== null) {
      into.journal.push({
        atMs: arrivedMs, kind: change.state === 'online' ? 'service' : 'gap', siteId: first.point.siteId, tankId: null, alarmId: null, by: 'tankbell',
        text: change.journal, detail: { presence: change.state, atMs: change.atMs, pointIds: changed.map(({ point }) => point.id) },
      });
    }
    this.#judgeListeners(changed, arrivedMs, into);
  }

  command(command: Command, nowMs: number, into: BatchBuilder): CommandResult {
    if (command.type === 'note') {
      into.journal.push({ atMs: nowMs, kind: 'note', siteId: null, tankId: command.tankId, alarmId: null, by: command.by, text: command.text, detail: {} });
      return { outcome: 'done' };
    }
    if (command.type === 'acknowledge') {
      const alarm = this.openAlarms.get(command.alarmId);
      const watched = alarm === undefined ? undefined : this.#watched.get(alarm.ruleId);
      if (watched === undefined) return { outcome: 'refused', why: 'This alarm is over: there is nothing left to acknowledge.' };
      const result = this.#live(watched, { type: 'acknowledge', by: command.by }, nowMs, into, { via: command.via });
      if (result.outcome === 'done') this.#acknowledgeExplained(command.alarmId, command.by, nowMs, into);
      return result;
    }
    const watched = this.#watched.get(command.ruleId);
    if (watched === undefined) return { outcome: 'refused', why: `There is no rule "${command.ruleId}".` };
    return this.#live(watched, holdEvent(command, nowMs), nowMs, into, {});
  }

  #setCadence(live: PointLive, cadenceMs: number, arrivedMs: number, into: BatchBuilder): void {
    live.point = withCadence(live.point, cadenceMs);
    this.#setState(live, { ...live.state, cadenceMs }, into);
    // Each rule sets its wake-up for silence anew.
    this.#judgeListeners([live], arrivedMs, into);
  }

  #setState(live: PointLive, state: PointState, into: BatchBuilder): void {
    live.state = state;
    endQuiet(live);
    into.pointState(state);
  }

  /** Every rule that hears one of the points, once. */
  #judgeListeners(points: readonly PointLive[], nowMs: number, into: BatchBuilder): void {
    for (const one of listenersOf(points)) this.#judge(one, { type: 'wake' }, nowMs, nowMs, into);
  }

  #fire(due: Deadline, into: BatchBuilder): void {
    if (due.kind === 'escalation') {
      const alarm = this.openAlarms.get(Number(due.id));
      if (alarm !== undefined) this.#pageNext(alarm, due.dueMs, into);
      return;
    }
    const watched = this.#watched.get(due.id);
    if (watched === undefined) return;
    switch (due.kind) {
      case 'wake':
        watched.wakeAtMs = null;
        if (isQuietAt(watched, due.dueMs)) this.#sleepOn(watched, due.dueMs, into);
        else this.#judge(watched, { type: 'wake' }, due.dueMs, due.dueMs, into);
        return;
      case 'delay':
        this.#live(watched, { type: 'due' }, due.dueMs, into, {});
        return;
      case 'hold':
        this.#live(watched, { type: 'release', by: 'tankbell', reason: watched.status.hold?.kind === 'suppressed' ? 'surfaced' : 'shelf-expired' }, due.dueMs, into, {});
        return;
    }
  }

  /** Nothing has fallen silent, and nothing else has come that could matter: only the next look is set. */
  #sleepOn(watched: Watched, nowMs: number, into: BatchBuilder): void {
    const { rule, state, stepper } = watched;
    watched.wakeAtMs = stepper.silenceWakeMs(nowMs);
    skipUntil(watched, Math.min(watched.promisedUntilMs, stepper.silentFromMs(nowMs)));
    into.ruleState({ ruleId: rule.id, state, wakeAtMs: watched.wakeAtMs });
    this.#deadlines.set('wake', rule.id, watched.wakeAtMs);
  }

  #judge(watched: Watched, input: RuleInput, atMs: number, nowMs: number, into: BatchBuilder): void {
    const { rule } = watched;
    const step = watched.stepper.step(watched.state, input, atMs);
    const wakeAtMs = step.wakeAtMs === undefined ? watched.wakeAtMs : step.wakeAtMs;
    const stateBefore = watched.state;
    if (step.state !== watched.state || wakeAtMs !== watched.wakeAtMs || input.type === 'wake') {
      watched.state = step.state;
      watched.wakeAtMs = wakeAtMs;
      into.ruleState({ ruleId: rule.id, state: step.state, wakeAtMs });
      this.#deadlines.set('wake', rule.id, wakeAtMs);
    }
    watched.verdict = step.verdict;
    const changed = rule.kind.doubts === undefined || step.state === stateBefore ? noPoints : this.#noteDoubts(watched);
    // By far the most frequent case: as before.
    if (!isNoNews(watched.status, step.verdict)) this.#live(watched, { type: 'verdict', verdict: step.verdict, atMs }, nowMs, into, {});
    keepQuiet(watched, step.quiet, atMs);
    if (changed.length === 0) return;
    for (const other of listenersOf(changed)) if (other !== watched) this.#judge(other, { type: 'wake' }, atMs, nowMs, into);
  }

  /** @returns points of which it has just begun, or ceased, to believe nothing. */
  #noteDoubts({ rule, state }: Watched): readonly PointLive[] {
    if (rule.kind.doubts === undefined) return noPoints;
    const whys = rule.kind.doubts(state);
    const changed: PointLive[] = [];
    for (const [role, point] of rule.roles) {
      const live = this.#pointOf(rule, point);
      const why = whys[role];
      const known = live.doubts.get(rule.id);
      if (known !== why) endQuiet(live);
      if ((known === undefined) !== (why === undefined)) changed.push(live);
      if (why === undefined) live.doubts.delete(rule.id);
      else if (why !== known) live.doubts.set(rule.id, why);
    }
    return changed;
  }

  #live(watched: Watched, event: LifeEvent, nowMs: number, into: BatchBuilder, detail: Record<string, unknown>): CommandResult {
    const { rule, status } = watched;
    const open = this.#openAlarm(watched);
    const consequences = this.#causes.consequencesOf(rule.id);
    const faceBefore = consequences.length === 0 ? '' : this.#causes.faceOf(rule.id);
    const step = stepLife({ status, alarm: open }, event, { ...watched.facts, nextAlarmId: this.#nextAlarmId }, nowMs);
    if ('refused' in step) return { outcome: 'refused', why: step.refused };
    if (step.state.status !== status) {
      this.#setStatus(watched, step.state.status, into);
      this.#setLifeDeadlines(step.state.status);
    }
    for (const transition of step.transitions) this.#record(watched, open, transition, nowMs, into, detail);
    if (consequences.length > 0 && this.#causes.faceOf(rule.id) !== faceBefore) {
      for (const ruleId of consequences) {
        const consequence = this.#watched.get(ruleId);
        if (consequence !== undefined) this.#reconsider(consequence, nowMs, into);
      }
    }
    return { outcome: 'done' };
  }

  /** One of its possible causes has changed. */
  #reconsider(watched: Watched, nowMs: number, into: BatchBuilder): void {
    const { status, rule } = watched;
    if (status.heldBackMs !== null && status.dueMs !== null) {
      this.#live(watched, { type: 'due' }, nowMs, into, {});
      return;
    }
    const alarm = this.#openAlarm(watched);
    if (alarm === null || status.condition === 'clear') return;
    const explanation = this.#causes.explain(rule, status, nowMs);
    const isBehind = isBehindCause(alarm);
    if (explanation.kind === 'explained' && (explanation.cause.quiet || !isBehind)) this.#live(watched, { type: 'explained', cause: explanation.cause }, nowMs, into, {});
    else if (alarm.cause !== null) this.#live(watched, { type: 'cause-over' }, nowMs, into, {});
  }

  /** Whoever takes the cause takes what it explains: one tap, as there was one page. */
  #acknowledgeExplained(alarmId: number, by: string, nowMs: number, into: BatchBuilder): void {
    for (const { state, cause, ruleId } of explainedBy(alarmId, [...this.openAlarms.values()])) {
      const watched = this.#watched.get(ruleId);
      if (state === 'unacknowledged' && cause?.quiet === true && watched !== undefined) this.#live(watched, { type: 'acknowledge', by }, nowMs, into, { withAlarmId: alarmId });
    }
  }

  #openAlarm({ status }: Watched): Alarm | null {
    return status.alarmId === null ? null : (this.openAlarms.get(status.alarmId) ?? null);
  }

  #setLifeDeadlines({ ruleId, dueMs, hold }: AlarmStatus): void {
    this.#deadlines.set('delay', ruleId, dueMs);
    this.#deadlines.set('hold', ruleId, hold?.untilMs ?? null);
  }

  /** A transition: the alarm is kept, journaled, and the people on call are set going or stood down. */
  #record(watched: Watched, before: Alarm | null, transition: Transition, nowMs: number, into: BatchBuilder, detail: Record<string, unknown>): void {
    const { rule, status } = watched;
    let { alarm } = transition;
    if (alarm !== null) {
      this.#nextAlarmId = Math.max(this.#nextAlarmId, alarm.id + 1);
      alarm = { ...alarm, escalation: this.#escalationAfter(transition, before, alarm, nowMs) };
      this.#setAlarm(alarm, into);
    }
    const isHold = transition.to === 'shelved' || transition.to === 'suppressed' || transition.to === 'out-of-service';
    into.journal.push({
      atMs: nowMs, kind: transition.reason === 'acknowledged' ? 'acknowledgement' : isHold && transition.from !== transition.to ? 'hold' : 'alarm',
      siteId: rule.facts.site.id, tankId: rule.facts.tank.id, alarmId: alarm?.id ?? null, by: transition.by,
      text: transitionText(transition.reason, rule.title, transition.by, alarm, status.hold),
      detail: { ruleId: rule.id, from: transition.from, to: transition.to, reason: transition.reason, priority: (alarm?.policy ?? rule.policy).priority, ...(alarm === null || alarm.cause === null ? {} : { causeAlarmId: alarm.cause.alarmId }), ...detail },
    });
    if (alarm === null) return;
    // Whoever was rung for one that was suppressed afterwards has been told by then.
    if (transition.reason === 'condition-false' && !isHold && transition.from !== 'suppressed') {
      for (const page of returnedPages(alarm, nowMs)) this.#page(alarm, page, into);
    }
    // Due now means now, not at the next tick.
    if (alarm.escalation.dueMs !== null && alarm.escalation.dueMs <= nowMs) this.#pageNext(alarm, nowMs, into);
  }

  #escalationAfter({ to, reason }: Transition, before: Alarm | null, alarm: Alarm, nowMs: number): Escalation {
    if (to !== 'unacknowledged') return stopEscalation(alarm);
    // Rung for already: while the cause lasts nobody further is, for it is the cause that people are rung for.
    if (reason === 'explained') return alarm.cause?.quiet === true ? stopEscalation(alarm) : alarm.escalation;
    if (reason === 'cause-over') return before?.cause?.quiet === true ? resumeEscalation(alarm, this.#rota, nowMs + graceMs(alarm.policy.onDelayMs)) : alarm.escalation;
    return reason === 'surfaced' ? resumeEscalation(alarm, this.#rota, nowMs) : startEscalation(alarm, this.#rota, nowMs);
  }

  #pageNext(alarm: Alarm, nowMs: number, into: BatchBuilder): void {
    const step = pageNext(alarm, this.#rota, nowMs);
    const paged: Alarm = { ...alarm, escalation: step.escalation };
    this.#setAlarm(paged, into);
    for (const page of step.pages) this.#page(paged, page, into);
    if (step.exhausted) {
      into.journal.push({
        atMs: nowMs, kind: 'page', siteId: alarm.siteId, tankId: alarm.tankId, alarmId: alarm.id, by: 'tankbell',
        text: `${alarm.title}: everybody on call has been paged; nobody further will be`, detail: { paged: paged.escalation.paged },
      });
    }
  }

  #page(alarm: Alarm, page: Parameters<BatchBuilder['pages']['push']>[0], into: BatchBuilder): void {
    into.pages.push(page);
    const name = this.#rota.people.get(page.personId)?.name ?? page.personId;
    into.journal.push({
      atMs: page.createdMs, kind: 'page', siteId: alarm.siteId, tankId: alarm.tankId, alarmId: alarm.id, by: 'tankbell',
      text: `${alarm.title}: page to ${name} (${page.reason})`, detail: { pageId: page.id, personId: page.personId, reason: page.reason },
    });
  }

  /** A hole in a point's stamps. One that an outage explains, or that another point of the site has told of, needs no second telling. */
  #noteSilence({ point }: PointLive, fromMs: number, toMs: number, arrivedMs: number, into: BatchBuilder): void {
    if (point.source === null) return;
    for (const known of this.#outages.values()) {
      const concerns = known.siteId === null || known.siteId === point.siteId;
      if (!concerns || known.fromMs >= toMs || known.toMs <= fromMs) continue;
      // Points of a site do not fall silent in the same second; the widest of their holes is looked up.
      if (known.cause === 'silence' && (fromMs < known.fromMs || toMs > known.toMs)) this.#setOutage({ ...known, fromMs: Math.min(fromMs, known.fromMs), toMs: Math.max(toMs, known.toMs) }, into);
      return;
    }
    this.#setOutage({ id: `silence/${point.siteId}/${fromMs}`, cause: 'silence', siteId: point.siteId, fromMs, toMs, dueMs: arrivedMs + settleMs }, into);
  }

  #setOutage(outage: Outage, into: BatchBuilder): void {
    this.#outages.set(outage.id, outage);
    into.outage(outage.id, outage);
  }

  #setStatus(watched: Watched, status: AlarmStatus, into: BatchBuilder): void {
    // Whoever puts its alarm aside believes the sensor.
    if (watched.rule.kind.doubts !== undefined && status.hold !== watched.status.hold) for (const point of watched.rule.roles.values()) endQuiet(this.#pointOf(watched.rule, point));
    watched.status = status;
    this.statuses.set(watched.rule.id, status);
    into.status(status);
  }

  #setAlarm(alarm: Alarm, into: BatchBuilder): void {
    if (alarm.closedMs === null) this.openAlarms.set(alarm.id, alarm);
    else this.openAlarms.delete(alarm.id);
    this.#deadlines.set('escalation', String(alarm.id), alarm.closedMs === null ? alarm.escalation.dueMs : null);
    into.alarm(alarm);
  }

  #dropRule(status: AlarmStatus, nowMs: number, into: BatchBuilder): void {
    const alarm = status.alarmId === null ? null : (this.openAlarms.get(status.alarmId) ?? null);
    const transition = removeRule({ status, alarm }, nowMs);
    into.status({ ...initialStatus(status.ruleId), unknownWhy: removedWhy });
    if (transition?.alarm == null) return;
    this.#setAlarm(transition.alarm, into);
    into.journal.push({
      atMs: nowMs, kind: 'alarm', siteId: transition.alarm.siteId, tankId: transition.alarm.tankId, alarmId: transition.alarm.id, by: 'tankbell',
      text: transitionText('rule-removed', transition.alarm.title, 'tankbell', transition.alarm, null),
      detail: { ruleId: status.ruleId, from: transition.from, to: transition.to, reason: transition.reason },
    });
  }
}

/** Takes a step's promise, or that it made none. Of a breach every number is told. */
function keepQuiet(watched: Watched, quiet: Quiet | undefined, atMs: number): void {
  const { verdict, status, listeners, stepper } = watched;
  if (quiet === undefined || verdict === null || verdict.state === 'breached' || !isNoNews(status, verdict)) {
    forget(watched);
    return;
  }
  watched.quietFromMs = atMs;
  watched.promisedUntilMs = quiet.untilMs;
  const untilMs = Math.min(quiet.untilMs, stepper.silentFromMs(atMs));
  for (const { role, at, live: { skips } } of listeners) {
    const band = quiet.within?.[role];
    skips[at] = atMs;
    skips[at + 1] = untilMs;
    skips[at + 2] = band === undefined ? Number.NEGATIVE_INFINITY : band[0];
    skips[at + 3] = band === undefined ? Number.POSITIVE_INFINITY : band[1];
  }
}

function forget(watched: Watched): void {
  // It had promised nothing.
  if (watched.promisedUntilMs === Number.NEGATIVE_INFINITY) return;
  watched.promisedUntilMs = Number.NEGATIVE_INFINITY;
  skipUntil(watched, Number.NEGATIVE_INFINITY);
}

function skipUntil({ listeners }: Watched, untilMs: number): void {
  for (const { at, live } of listeners) live.skips[at + 1] = untilMs;
}

/** Is there nothing to be found by a wake-up for silence? */
function isQuietAt({ stepper, quietFromMs, promisedUntilMs }: Watched, nowMs: number): boolean {
  return nowMs < promisedUntilMs && nowMs >= quietFromMs && stepper.wakesForSilence && stepper.silentFromMs(quietFromMs) > nowMs;
}

/** Something else than an ordinary reading has come of this point. */
function endQuiet({ listeners }: PointLive): void {
  for (const { watched } of listeners) forget(watched);
}

const listenersOf = (points: readonly PointLive[]): ReadonlySet<Watched> => new Set(points.flatMap(({ listeners }) => listeners.map(({ watched }) => watched)));

/** A promised cadence is a maximum (RFC 8428 §4.3): two of them without a word are silence. */
function withCadence(point: Point, cadenceMs: number | null): Point {
  return cadenceMs === null || point.cadence !== 'sent' ? point : { ...point, everyMs: cadenceMs, silentAfterMs: Math.max(2 * cadenceMs, 5 * MINUTE) };
}

function calibrated(raw: Reading, curve: Curve | null): Reading {
  return curve === null ? raw : { ...raw, value: calibrate(curve, raw.atMs, raw.value) };
}

function holdEvent(command: Exclude<Command, { type: 'note' | 'acknowledge' }>, nowMs: number): LifeEvent {
  switch (command.type) {
    case 'shelve':
      return { type: 'hold', hold: { kind: 'shelved', by: command.by, why: command.why, sinceMs: nowMs, untilMs: command.untilMs } };
    case 'take-out-of-service':
      return { type: 'hold', hold: { kind: 'out-of-service', by: command.by, why: command.why, sinceMs: nowMs, untilMs: null } };
    case 'unshelve':
      return { type: 'release', by: command.by, reason: 'unshelved' };
    case 'return-to-service':
      return { type: 'release', by: command.by, reason: 'returned-to-service' };
  }
}
