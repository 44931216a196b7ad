/** Small in-memory stand-ins for the engine and the store, with the behaviour their contracts promise. */
import type { Alarm, AlarmStatus } from '../../src/domain/alarm.ts';
import type { Calibration } from '../../src/domain/calibration.ts';
import type { Command, CommandResult } from '../../src/domain/command.ts';
import type { Point } from '../../src/domain/fleet.ts';
import type { JournalEntry, StoredJournalEntry } from '../../src/domain/journal.ts';
import type { OutboxPage } from '../../src/domain/page.ts';
import { type Reading, isUsable } from '../../src/domain/reading.ts';
import type { SourceClock } from '../../src/domain/source-clock.ts';
import type { Verdict } from '../../src/domain/verdict.ts';
import type { Committed, EngineFace, LiveView } from '../../src/engine/contract.ts';
import type { Delivery } from '../../src/domain/delivery.ts';
import { bucketEdges } from '../../src/store/bucket-edges.ts';
import type { Account, AccountStore, AlarmQuery, Bucket, HistoryReader, HistoryWriter, ImportMemory, ImportMemoryStore, JournalQuery, RefusalCount, SeriesColumns, UnclaimedSource } from '../../src/store/contract.ts';
import type { UnclaimedMessage } from '../../src/domain/unclaimed.ts';
import type { Clock } from '../../src/clock.ts';

export class FakeStore implements HistoryReader, HistoryWriter, AccountStore, ImportMemoryStore {
  readonly memories = new Map<string, ImportMemory>();
  readonly series = new Map<string, number>();
  readonly rows = new Map<number, Reading[]>();
  readonly alarmRows = new Map<number, Alarm>();
  readonly statusRows = new Map<string, AlarmStatus>();
  readonly journalRows: StoredJournalEntry[] = [];
  readonly pageRows: OutboxPage[] = [];
  readonly refusalRows: RefusalCount[] = [];
  readonly unclaimedRows = new Map<string, { source: UnclaimedSource; messages: UnclaimedMessage[] }>();
  readonly accountRows: Account[] = [];
  readonly sessions = new Map<string, { accountId: number; expiresMs: number }>();

  seriesFor(pointId: string): number {
    const known = this.series.get(pointId);
    if (known !== undefined) return known;
    const next = this.series.size + 1;
    this.series.set(pointId, next);
    return next;
  }

  addReadings(pointId: string, values: readonly (readonly [number, number, number?])[]): void {
    const series = this.seriesFor(pointId);
    const rows = this.rows.get(series) ?? [];
    const known = new Set(rows.map((row) => row.atMs));
    for (const [atMs, value, quality = 0] of values) if (!known.has(atMs)) rows.push({ series, atMs, value, quality });
    this.rows.set(series, rows.sort((a, b) => a.atMs - b.atMs));
  }

  async seriesOf(pointId: string): Promise<number | null> {
    return this.series.get(pointId) ?? null;
  }

  async readings(series: number, fromMs: number, toMs: number): Promise<readonly Reading[]> {
    return (this.rows.get(series) ?? []).filter((row) => row.atMs >= fromMs && row.atMs < toMs);
  }

  async buckets(series: number, fromMs: number, toMs: number, count: number): Promise<readonly Bucket[]> {
    const edges = bucketEdges(fromMs, toMs, count);
    if (edges === null) return [];
    const { originMs, widthMs } = edges;
    const groups = new Map<number, number[]>();
    for (const row of await this.readings(series, fromMs, toMs)) {
      if (!isUsable(row.quality)) continue;
      const index = Math.floor((row.atMs - originMs) / widthMs);
      groups.set(index, [...(groups.get(index) ?? []), row.value]);
    }
    return [...groups].sort(([a], [b]) => a - b).map(([index, values]) => ({
      fromMs: originMs + index * widthMs, n: values.length, min: Math.min(...values), max: Math.max(...values), mean: values.reduce((sum, value) => sum + value, 0) / values.length,
    }));
  }

  async latest(series: number): Promise<Reading | null> {
    return (this.rows.get(series) ?? []).filter((row) => isUsable(row.quality)).at(-1) ?? null;
  }

  async alarm(id: number): Promise<Alarm | null> {
    return this.alarmRows.get(id) ?? null;
  }

  async alarms(query: AlarmQuery): Promise<readonly Alarm[]> {
    return [...this.alarmRows.values()]
      .filter((alarm) => (query.tankId === undefined || alarm.tankId === query.tankId)
        && (query.siteId === undefined || alarm.siteId === query.siteId)
        && (query.open === undefined || (alarm.closedMs === null) === query.open)
        && (query.fromMs === undefined || alarm.closedMs === null || alarm.closedMs >= query.fromMs)
        && (query.toMs === undefined || alarm.beganMs < query.toMs))
      .sort((a, b) => b.openedMs - a.openedMs || b.id - a.id)
      .slice(0, query.limit);
  }

  async statuses(): Promise<readonly AlarmStatus[]> {
    return [...this.statusRows.values()];
  }

  async journal(query: JournalQuery): Promise<readonly StoredJournalEntry[]> {
    return this.journalRows
      .filter((row) => (query.tankId === undefined || row.tankId === query.tankId)
        && (query.siteId === undefined || row.siteId === query.siteId)
        && (query.alarmId === undefined || row.alarmId === query.alarmId)
        && (query.kinds === undefined || query.kinds.includes(row.kind))
        && (query.contains === undefined || row.text.toLowerCase().includes(query.contains.toLowerCase()))
        && (query.fromMs === undefined || row.atMs >= query.fromMs)
        && (query.toMs === undefined || row.atMs < query.toMs)
        && (query.beforeId === undefined || row.id < query.beforeId))
      .sort((a, b) => b.id - a.id)
      .slice(0, query.limit);
  }

  async pages(query: { readonly alarmId?: number; readonly limit: number }): Promise<readonly OutboxPage[]> {
    return this.pageRows.filter((row) => query.alarmId === undefined || row.alarmId === query.alarmId).slice(0, query.limit);
  }

  async refusals(limit: number): Promise<readonly RefusalCount[]> {
    return this.refusalRows.slice(0, limit);
  }

  async unclaimedSources(): Promise<readonly UnclaimedSource[]> {
    return [...this.unclaimedRows.values()].map(({ source }) => source);
  }

  async unclaimedSource(topic: string): Promise<UnclaimedSource | null> {
    return this.unclaimedRows.get(topic)?.source ?? null;
  }

  async unclaimedMessages(topic: string, limit: number): Promise<readonly UnclaimedMessage[]> {
    return [...(this.unclaimedRows.get(topic)?.messages ?? [])].reverse().slice(0, limit);
  }

  async addHistory(history: readonly SeriesColumns[]): Promise<number> {
    let added = 0;
    for (const reading of history.flatMap(({ series, atMs, value, quality }) => Array.from(atMs, (time, at): Reading => ({ series, atMs: time, value: value[at] ?? Number.NaN, quality: quality[at] ?? Number.NaN })))) {
      const rows = this.rows.get(reading.series) ?? [];
      if (rows.some((row) => row.atMs === reading.atMs)) continue;
      this.rows.set(reading.series, [...rows, reading].sort((a, b) => a.atMs - b.atMs));
      added += 1;
    }
    return added;
  }

  async importMemory(headerKey: string, tankId: string | null): Promise<ImportMemory | null> {
    return this.memories.get(`${headerKey} ${tankId}`) ?? null;
  }

  async rememberImport(memory: ImportMemory): Promise<void> {
    this.memories.set(`${memory.headerKey} ${memory.tankId}`, memory);
  }

  async appendJournal(entries: readonly JournalEntry[]): Promise<void> {
    for (const entry of entries) this.journalRows.push({ ...entry, id: this.journalRows.length + 1 });
  }

  async accounts(): Promise<readonly Account[]> {
    return this.accountRows;
  }

  async accountByName(name: string): Promise<Account | null> {
    return this.accountRows.find((row) => row.name === name) ?? null;
  }

  async putAccount(account: Omit<Account, 'id'>): Promise<void> {
    const at = this.accountRows.findIndex((row) => row.name === account.name);
    const known = this.accountRows[at];
    if (known === undefined) this.accountRows.push({ ...account, id: this.accountRows.length + 1 });
    else this.accountRows[at] = { ...account, id: known.id };
  }

  async removeAccount(name: string): Promise<boolean> {
    const at = this.accountRows.findIndex((row) => row.name === name);
    if (at < 0) return false;
    this.accountRows.splice(at, 1);
    return true;
  }

  async putSession(session: { readonly tokenHash: string; readonly accountId: number; readonly expiresMs: number }): Promise<void> {
    this.sessions.set(session.tokenHash, session);
  }

  async accountBySession(tokenHash: string, nowMs: number): Promise<Account | null> {
    const session = this.sessions.get(tokenHash);
    if (session === undefined || session.expiresMs <= nowMs) return null;
    return this.accountRows.find((row) => row.id === session.accountId) ?? null;
  }

  async removeSession(tokenHash: string): Promise<void> {
    this.sessions.delete(tokenHash);
  }
}

/** Keeps alarms and statuses in the store it is given and changes them as the life of an alarm demands. */
export class FakeEngine implements EngineFace {
  readonly commands: Command[] = [];
  readonly clockRows: SourceClock[] = [];
  readonly calibrationRows: Calibration[] = [];
  readonly verdicts = new Map<string, Verdict>();
  /** Why a point's gateway is not to be believed, by point. */
  readonly offlineWhys = new Map<string, string>();
  readonly view: LiveView;
  private readonly listeners = new Set<(change: Committed) => void>();
  private readonly store: FakeStore;
  private readonly clock: Clock;
  trouble: string | null = null;

  constructor(store: FakeStore, clock: Clock) {
    this.store = store;
    this.clock = clock;
    const engine = this;
    this.view = {
      startedMs: clock.now(),
      get committedMs(): number { return clock.now(); },
      committedReadings: 0,
      get trouble(): string | null { return engine.trouble; },
      get statuses(): ReadonlyMap<string, AlarmStatus> { return store.statusRows; },
      get openAlarms(): ReadonlyMap<number, Alarm> { return new Map([...store.alarmRows].filter(([, alarm]) => alarm.closedMs === null)); },
      lastStampMs(pointId: string): number | null {
        const series = store.series.get(pointId);
        return series === undefined ? null : (store.rows.get(series) ?? []).at(-1)?.atMs ?? null;
      },
      offline(pointId: string): string | null { return engine.offlineWhys.get(pointId) ?? null; },
      atPresent(point: Point): Point { return point; },
      clocks(): readonly SourceClock[] { return engine.clockRows; },
      calibrations(pointId: string): readonly Calibration[] { return engine.calibrationRows.filter((row) => row.pointId === pointId); },
      verdict(ruleId: string): Verdict | null { return engine.verdicts.get(ruleId) ?? null; },
      latest(pointId: string): Reading | null {
        const series = store.series.get(pointId);
        return series === undefined ? null : (store.rows.get(series) ?? []).filter((row) => isUsable(row.quality)).at(-1) ?? null;
      },
    };
  }

  /** Whether the queue is full. */
  full = false;
  readonly deliveries: Delivery[] = [];

  /** Takes samples in their canonical unit, and says so at once. */
  deliver = (delivery: Delivery): boolean => {
    if (this.full) return false;
    this.deliveries.push(delivery);
    for (const { pointId, atMs, value } of delivery.samples) if (typeof value === 'number') this.store.addReadings(pointId, [[atMs ?? delivery.arrivedMs, value]]);
    delivery.committed();
    return true;
  };

  onCommitted(listener: (change: Committed) => void): () => void {
    this.listeners.add(listener);
    return () => this.listeners.delete(listener);
  }

  committed(pointIds: readonly string[], tankIds: readonly string[]): void {
    for (const listener of this.listeners) listener({ nowMs: this.clock.now(), pointIds: new Set(pointIds), tankIds: new Set(tankIds) });
  }

  async command(command: Command): Promise<CommandResult> {
    this.commands.push(command);
    const result = this.apply(command);
    if (result.outcome === 'done') this.committed([], ['*']);
    return result;
  }

  private apply(command: Command): CommandResult {
    const nowMs = this.clock.now();
    switch (command.type) {
      case 'acknowledge': {
        const alarm = this.store.alarmRows.get(command.alarmId);
        if (alarm === undefined || alarm.closedMs !== null) return { outcome: 'refused', why: 'the alarm is over' };
        if (alarm.acknowledgedMs !== null) return { outcome: 'refused', why: `${alarm.acknowledgedBy} has acknowledged it already` };
        this.store.alarmRows.set(alarm.id, { ...alarm, state: 'acknowledged', acknowledgedMs: nowMs, acknowledgedBy: command.by });
        return { outcome: 'done' };
      }
      case 'shelve': return this.hold(command.ruleId, { kind: 'shelved', by: command.by, why: command.why, sinceMs: nowMs, untilMs: command.untilMs });
      case 'take-out-of-service': return this.hold(command.ruleId, { kind: 'out-of-service', by: command.by, why: command.why, sinceMs: nowMs, untilMs: null });
      case 'unshelve':
      case 'return-to-service': return this.hold(command.ruleId, null);
      case 'note': return { outcome: 'done' };
    }
  }

  private hold(ruleId: string, hold: AlarmStatus['hold']): CommandResult {
    const status = this.store.statusRows.get(ruleId);
    if (status === undefined) return { outcome: 'refused', why: 'there is no such rule' };
    this.store.statusRows.set(ruleId, { ...status, hold });
    const alarm = [...this.store.alarmRows.values()].find((row) => row.ruleId === ruleId && row.closedMs === null);
    if (alarm !== undefined) this.store.alarmRows.set(alarm.id, { ...alarm, state: hold === null ? status.base : hold.kind });
    return { outcome: 'done' };
  }
}

/** A clock that stands still until it is moved; timers run when it is moved past them. */
export class TestClock implements Clock {
  private readonly timers = new Set<{ everyMs: number; nextMs: number; run: () => void }>();
  private atMs: number;

  constructor(startMs: number) {
    this.atMs = startMs;
  }

  now(): number {
    return this.atMs;
  }

  every(everyMs: number, run: () => void): () => void {
    const timer = { everyMs, nextMs: this.atMs + everyMs, run };
    this.timers.add(timer);
    return () => this.timers.delete(timer);
  }

  async sleep(): Promise<void> {}

  soon(run: () => void): void {
    queueMicrotask(run);
  }

  advance(ms: number): void {
    const endMs = this.atMs + ms;
    for (;;) {
      const next = [...this.timers].sort((a, b) => a.nextMs - b.nextMs)[0];
      if (next === undefined || next.nextMs > endMs) break;
      this.atMs = next.nextMs;
      next.nextMs += next.everyMs;
      next.run();
    }
    this.atMs = endMs;
  }
}
