/** Collects what one drain of the queue decided, ready for one transaction. */
import type { Alarm, AlarmStatus } from '../domain/alarm.ts';
import type { JournalEntry } from '../domain/journal.ts';
import type { Outage } from '../domain/outage.ts';
import type { Page } from '../domain/page.ts';
import type { PointState } from '../domain/presence.ts';
import type { Reading, Refusal } from '../domain/reading.ts';
import type { ClockState } from '../domain/source-clock.ts';
import type { UnclaimedMessage } from '../domain/unclaimed.ts';
import type { Batch, RefusalCount, StoredRuleState } from '../store/contract.ts';

export class BatchBuilder {
  readonly readings: Reading[] = [];
  readonly pages: Page[] = [];
  readonly journal: JournalEntry[] = [];
  readonly unclaimed: UnclaimedMessage[] = [];
  readonly #ruleStates = new Map<string, StoredRuleState>();
  readonly #statuses = new Map<string, AlarmStatus>();
  readonly #alarms = new Map<number, Alarm>();
  readonly #pointStates = new Map<string, PointState>();
  readonly #refusals = new Map<string, RefusalCount>();
  readonly #clocks = new Map<string, ClockState | null>();
  readonly #outages = new Map<string, Outage | null>();

  reading(taken: Reading): void {
    this.readings.push(taken);
  }

  ruleState(changed: StoredRuleState): void {
    this.#ruleStates.set(changed.ruleId, changed);
  }

  status(changed: AlarmStatus): void {
    this.#statuses.set(changed.ruleId, changed);
  }

  alarm(changed: Alarm): void {
    this.#alarms.set(changed.id, changed);
  }

  pointState(changed: PointState): void {
    this.#pointStates.set(changed.pointId, changed);
  }

  outage(id: string, changed: Outage | null): void {
    this.#outages.set(id, changed);
  }

  clock(source: string, state: ClockState | null): void {
    this.#clocks.set(source, state);
  }

  refusal(refused: Refusal, atMs: number): void {
    const key = `${refused.source}\n${refused.reason}`;
    const known = this.#refusals.get(key);
    this.#refusals.set(key, { ...refused, count: (known?.count ?? 0) + 1, lastMs: atMs });
  }

  get isEmpty(): boolean {
    return this.readings.length === 0 && !this.changesAlarms && this.#ruleStates.size === 0 && this.#pointStates.size === 0 && this.#refusals.size === 0
      && this.unclaimed.length === 0 && this.#outages.size === 0 && this.#clocks.size === 0;
  }

  get changesAlarms(): boolean {
    return this.pages.length > 0 || this.journal.length > 0 || this.#statuses.size > 0 || this.#alarms.size > 0;
  }

  get tankIds(): Set<string> {
    return new Set([...this.#statuses.keys()].map((ruleId) => ruleId.slice(0, ruleId.indexOf('/'))));
  }

  build(aliveMs: number): Batch {
    return {
      readings: this.readings, pages: this.pages, journal: this.journal, unclaimed: this.unclaimed, aliveMs,
      ruleStates: [...this.#ruleStates.values()], statuses: [...this.#statuses.values()], alarms: [...this.#alarms.values()], refusals: [...this.#refusals.values()],
      pointStates: [...this.#pointStates.values()],
      outages: [...this.#outages].map(([id, outage]) => ({ id, outage })),
      clocks: [...this.#clocks].map(([source, state]) => ({ source, state })),
    };
  }
}
