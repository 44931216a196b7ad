/**
 * The loop: one queue in, one transaction per drain, and only after it the acknowledgements.
 * It is the only writer of readings and alarm state. What to decide is in `watch.ts`; this file decides *when* it is safe.
 *
 * A commit that fails for an operating reason (disk full, database busy) is tried again until it succeeds, and nothing is acknowledged
 * meanwhile: the queue fills, `deliver` says no, and the senders hold what they have. Any other failure is handed to `onFatal`: the
 * process ends and starts again from the store.
 */
import type { Clock } from '../clock.ts';
import type { Command, CommandResult } from '../domain/command.ts';
import type { Deliver, Delivery } from '../domain/delivery.ts';
import { MINUTE, SECOND } from '../domain/duration.ts';
import type { Fleet } from '../domain/fleet.ts';
import type { Reading, SeriesId } from '../domain/reading.ts';
import type { Logger } from '../log.ts';
import type { Rule } from '../rules/contract.ts';
import { type Batch, DamagedError, type HistoryReader, type LiveState, type LiveStore, StoreError } from '../store/contract.ts';
import { BatchBuilder } from './batch.ts';
import type { Committed, EngineFace, LiveView } from './contract.ts';
import { downtimeBoundMs, Watch } from './watch.ts';

/** Deliveries waiting at most; beyond it senders are held back. */
export const queueBound = 20_000;
/** Samples waiting at most: a message may carry thousands. */
export const queueSamplesBound = 200_000;
/** A kept message of the largest size takes as much memory as so many samples. */
const samplesAnUnclaimed = 20;
/** Samples taken into one transaction at most: bounds memory and the wait for an acknowledgement. */
export const batchBound = 5_000;
const tickMs = SECOND;
/** A sign of life is stored at least this often, so that a restart knows how long nobody watched. */
const aliveEveryMs = 30 * SECOND;
const retryMs = [SECOND, 2 * SECOND, 5 * SECOND, 10 * SECOND, 30 * SECOND, MINUTE] as const;

export interface EngineParts {
  readonly store: LiveStore & Pick<HistoryReader, 'readings'>;
  readonly fleet: Fleet;
  readonly rules: readonly Rule[];
  readonly clock: Clock;
  readonly log: Logger;
  /** Called after commits that queued pages. */
  readonly onPages: () => void;
  /** A failure that trying again cannot mend. */
  readonly onFatal: (error: Error) => void;
}

type Item =
  | Delivery
  | { readonly type: 'command'; readonly command: Command; readonly arrivedMs: number; readonly resolve: (result: CommandResult) => void }
  | { readonly type: 'tick'; readonly nowMs: number }
  | { readonly type: 'fleet'; readonly fleet: Fleet; readonly rules: readonly Rule[]; readonly arrivedMs: number; readonly resolve: () => void; readonly reject: (error: unknown) => void }
  /** The connection to the broker is back. */
  | { readonly type: 'reconnected'; readonly fromMs: number; readonly nowMs: number }
  /** The process was frozen: a machine asleep, a paused container. */
  | { readonly type: 'resume'; readonly fromMs: number; readonly nowMs: number };

export class Engine implements EngineFace {
  readonly view: LiveView;
  readonly #parts: EngineParts;
  #watch: Watch;
  readonly #listeners = new Set<(change: Committed) => void>();
  #queue: Item[] = [];
  /** Samples in it, or what takes as much memory. */
  #queuedSamples = 0;
  #running = false;
  #stopped = false;
  #tickQueued = false;
  /** `null` until the clock has ticked once; a replay drives time itself and never ticks. */
  #tickedMs: number | null = null;
  #stopTicks: () => void = () => undefined;
  #idle: Promise<void> = Promise.resolve();
  #committedMs: number;
  #committedReadings = 0;
  #trouble: string | null = null;

  private constructor(parts: EngineParts, watch: Watch, startedMs: number) {
    this.#parts = parts;
    this.#watch = watch;
    this.#committedMs = startedMs;
    const engine = this;
    this.view = {
      get statuses() {
        return engine.#watch.statuses;
      },
      get openAlarms() {
        return engine.#watch.openAlarms;
      },
      latest: (pointId) => engine.#watch.latest(pointId),
      offline: (pointId) => engine.#watch.offline(pointId),
      atPresent: (point) => engine.#watch.atPresent(point),
      lastStampMs: (pointId) => engine.#watch.lastStampMs(pointId),
      clocks: () => engine.#watch.clocks(),
      calibrations: (pointId) => engine.#watch.calibrations(pointId),
      verdict: (ruleId) => engine.#watch.verdict(ruleId),
      startedMs,
      get committedMs() {
        return engine.#committedMs;
      },
      get committedReadings() {
        return engine.#committedReadings;
      },
      get trouble() {
        return engine.#trouble;
      },
    };
  }

  /** Loads the live state, takes up where the last process left off, and starts to tick. */
  static async start(parts: EngineParts): Promise<Engine> {
    const { watch, stored } = await watchFromStore(parts, parts.fleet, parts.rules);
    const nowMs = parts.clock.now();
    const engine = new Engine(parts, watch, nowMs);
    const first = new BatchBuilder();
    watch.start(stored, nowMs, first);
    await engine.#commit(first.build(nowMs));
    engine.#stopTicks = parts.clock.every(tickMs, () => {
      engine.#noticeFreeze(parts.clock.now());
      engine.#tickedMs = parts.clock.now();
      engine.#tick();
    });
    if (first.pages.length > 0) parts.onPages();
    return engine;
  }

  readonly deliver: Deliver = (delivery) => {
    if (this.#stopped || this.#queue.length >= queueBound || this.#queuedSamples >= queueSamplesBound || !this.#parts.store.space().takesReadings) return false;
    this.#noticeFreeze(delivery.arrivedMs);
    this.#push(delivery);
    return true;
  };

  command(command: Command): Promise<CommandResult> {
    if (this.#stopped) return Promise.resolve({ outcome: 'refused', why: 'Tankbell is shutting down; try again in a minute.' });
    return new Promise((resolve) => this.#push({ type: 'command', command, arrivedMs: this.#parts.clock.now(), resolve }));
  }

  /**
   * Takes a new fleet and its rules between two batches; what is delivered after this call is judged by them. Nothing is carried over by
   * hand: live state is made anew from the store, exactly as after a restart, so that both lead to the same. What is equal stays as it
   * is; alarms of rules that are gone are ended; new rules are judged at once. Resolves after the commit.
   * @throws StoreError when the store cannot be read: the fleet before stays in force.
   */
  applyFleet(fleet: Fleet, rules: readonly Rule[]): Promise<void> {
    if (this.#stopped) return Promise.reject(new Error('Tankbell is shutting down'));
    return new Promise((resolve, reject) => this.#push({ type: 'fleet', fleet, rules, arrivedMs: this.#parts.clock.now(), resolve, reject }));
  }

  /** The connection to the broker was lost at `fromMs` and is back now: what is missing will be looked up and told. */
  reconnected(fromMs: number): void {
    if (!this.#stopped) this.#push({ type: 'reconnected', fromMs, nowMs: this.#parts.clock.now() });
  }

  onCommitted(listener: (change: Committed) => void): () => void {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  /** Lets time pass now; what is due is decided and committed before it resolves. For replay and stories. */
  async settle(): Promise<void> {
    this.#tick();
    while (this.#running || this.#queue.length > 0) await this.#idle;
  }

  /** Takes nothing more, commits what has been taken, and stops. */
  async stop(): Promise<void> {
    this.#stopTicks();
    this.#stopped = true;
    while (this.#running || this.#queue.length > 0) await this.#idle;
    await this.#parts.store.commit(new BatchBuilder().build(this.#parts.clock.now()));
  }

  /** The ticks stopped for a while: the first thing that arrives after it must not be judged as if time had been watched. */
  #noticeFreeze(nowMs: number): void {
    if (this.#tickedMs === null || nowMs - this.#tickedMs <= downtimeBoundMs) return;
    this.#push({ type: 'resume', fromMs: this.#tickedMs, nowMs });
    this.#tickedMs = nowMs;
  }

  #tick(): void {
    if (this.#tickQueued) return;
    this.#tickQueued = true;
    this.#push({ type: 'tick', nowMs: this.#parts.clock.now() });
  }

  #push(item: Item): void {
    this.#queue.push(item);
    this.#queuedSamples += samplesOf(item);
    if (this.#running) return;
    this.#running = true;
    this.#idle = new Promise((resolve) => {
      // Not at once and not on a timer: after the I/O that has arrived, so that a burst becomes one batch.
      this.#parts.clock.soon(() => {
        void this.#run().then(resolve);
      });
    });
  }

  async #run(): Promise<void> {
    try {
      while (this.#queue.length > 0) await this.#drain();
    } catch (error) {
      this.#stopped = true;
      this.#stopTicks();
      this.#queue = [];
      this.#parts.onFatal(error instanceof Error ? error : new Error(String(error)));
    } finally {
      this.#running = false;
    }
  }

  async #drain(): Promise<void> {
    const first = this.#queue[0];
    const tellMs = this.#watch.outageDueMs;
    if (tellMs !== null && first !== undefined && timeOf(first) > tellMs) {
      await this.#tellGaps(tellMs);
      return;
    }
    if (first !== undefined && isFleet(first)) {
      this.#queue.shift();
      await this.#swapFleet(first);
      return;
    }
    const items = this.#take(tellMs ?? Number.POSITIVE_INFINITY);
    for (const item of items) this.#queuedSamples -= samplesOf(item);
    const batch = new BatchBuilder();
    const committed: Delivery[] = [];
    const answers: (() => void)[] = [];
    const pointIds = new Set<string>();
    const listening = this.#listeners.size > 0;
    let nowMs = 0;
    let ticksOnly = true;
    for (const [index, item] of items.entries()) {
      // An outage found in this very batch may be due before its end.
      const dueMs = this.#watch.outageDueMs;
      if (dueMs !== null && timeOf(item) > dueMs) {
        const later = items.slice(index);
        this.#queue = [...later, ...this.#queue];
        for (const one of later) this.#queuedSamples += samplesOf(one);
        break;
      }
      if (!('type' in item)) {
        nowMs = item.arrivedMs;
        this.#watch.advance(nowMs, batch);
        this.#decide(item, batch, listening ? pointIds : null);
        committed.push(item);
        ticksOnly = false;
        continue;
      }
      switch (item.type) {
        case 'command': {
          nowMs = item.arrivedMs;
          this.#watch.advance(nowMs, batch);
          const result = this.#watch.command(item.command, nowMs, batch);
          answers.push(() => item.resolve(result));
          ticksOnly = false;
          break;
        }
        case 'resume':
          nowMs = item.nowMs;
          this.#watch.resume(item.fromMs, nowMs, batch);
          this.#watch.noteOutage('down', item.fromMs, nowMs, batch);
          break;
        case 'reconnected':
          nowMs = item.nowMs;
          this.#watch.advance(nowMs, batch);
          this.#watch.noteOutage('connection', item.fromMs, nowMs, batch);
          ticksOnly = false;
          break;
        case 'tick':
          this.#tickQueued = false;
          nowMs = item.nowMs;
          this.#watch.advance(nowMs, batch);
          break;
        case 'fleet':
          throw new Error('a fleet is taken between batches, never within one');
      }
    }
    if (ticksOnly && batch.isEmpty && nowMs - this.#committedMs < aliveEveryMs) return;
    await this.#commit(batch.build(nowMs));
    for (const delivery of committed) delivery.committed();
    for (const answer of answers) answer();
    if (batch.pages.length > 0) this.#parts.onPages();
    if (listening && (pointIds.size > 0 || batch.changesAlarms)) {
      const change: Committed = { nowMs, pointIds, tankIds: batch.tankIds };
      for (const listener of this.#listeners) listener(change);
    }
  }

  /** @param heard takes the points it concerns, when somebody listens. */
  #decide({ arrivedMs, samples, refusals, presence, unclaimed, fromFile }: Delivery, batch: BatchBuilder, heard: Set<string> | null): void {
    if (presence !== undefined) {
      for (const change of presence) {
        this.#watch.presence(change, arrivedMs, batch);
        if (heard !== null) for (const pointId of change.pointIds) heard.add(pointId);
      }
    }
    for (const sample of samples) {
      this.#watch.sample(sample, arrivedMs, batch, fromFile);
      if (heard !== null) heard.add(sample.pointId);
    }
    for (const refused of refusals) batch.refusal(refused, arrivedMs);
    if (unclaimed !== undefined && unclaimed.length > 0) batch.unclaimed.push(...unclaimed);
  }

  async #swapFleet({ fleet, rules, arrivedMs, resolve, reject }: FleetItem): Promise<void> {
    const before = new BatchBuilder();
    this.#watch.advance(arrivedMs, before);
    await this.#commit(before.build(arrivedMs));
    let next: Awaited<ReturnType<typeof watchFromStore>>;
    try {
      next = await watchFromStore(this.#parts, fleet, rules);
    } catch (error) {
      reject(error);
      return;
    }
    const after = new BatchBuilder();
    next.watch.start(next.stored, arrivedMs, after);
    next.watch.takeOver(this.#watch);
    await this.#commit(after.build(arrivedMs));
    this.#watch = next.watch;
    resolve();
    if (before.pages.length + after.pages.length > 0) this.#parts.onPages();
    const change: Committed = { nowMs: arrivedMs, pointIds: new Set(), tankIds: new Set(fleet.tanks.map(({ id }) => id)) };
    for (const listener of this.#listeners) listener(change);
  }

  /** Everything that arrived by `dueMs` is committed, nothing later is: so what is told does not depend on how it was batched. */
  async #tellGaps(dueMs: number): Promise<void> {
    const batch = new BatchBuilder();
    await this.#watch.tellGaps(dueMs, (series, fromMs, toMs) => this.#stored(series, fromMs, toMs), batch);
    await this.#commit(batch.build(Math.max(dueMs, this.#committedMs)));
    if (batch.pages.length > 0) this.#parts.onPages();
  }

  /** `null`: some of them are damaged. That ends nothing: the outage would be looked up again after every restart. */
  async #stored(series: SeriesId, fromMs: number, toMs: number): Promise<readonly Reading[] | null> {
    try {
      return await this.#retried(() => this.#parts.store.readings(series, fromMs, toMs));
    } catch (error) {
      if (!(error instanceof DamagedError)) throw error;
      this.#parts.log.error({ err: error }, 'what an outage lost cannot be looked up');
      return null;
    }
  }

  /** Items that arrived by `untilMs`, up to a change of the fleet. */
  #take(untilMs: number): Item[] {
    let samples = 0;
    let count = 0;
    for (const item of this.#queue) {
      if (isFleet(item) || timeOf(item) > untilMs) break;
      count += 1;
      samples += 'type' in item ? 1 : Math.max(1, item.samples.length);
      if (samples >= batchBound) break;
    }
    if (count === this.#queue.length) {
      const all = this.#queue;
      this.#queue = [];
      return all;
    }
    return this.#queue.splice(0, count);
  }

  async #commit(batch: Batch): Promise<void> {
    await this.#retried(() => this.#parts.store.commit(batch));
    this.#committedMs = batch.aliveMs;
    this.#committedReadings += batch.readings.length;
  }

  async #retried<Result>(work: () => Promise<Result>): Promise<Result> {
    for (let attempt = 0; ; attempt += 1) {
      try {
        const result = await work();
        if (this.#trouble !== null) this.#parts.log.info('the store takes readings again');
        this.#trouble = null;
        return result;
      } catch (error) {
        if (!(error instanceof StoreError) || error.permanent) throw error;
        this.#trouble = error.message;
        const waitMs = retryMs[Math.min(attempt, retryMs.length - 1)] ?? MINUTE;
        this.#parts.log.error({ err: error, waitMs }, 'cannot store: nothing is acknowledged until it works again');
        await this.#parts.clock.sleep(waitMs);
      }
    }
  }
}

/** Live state as it stands in the store: after a start and after a change of the fleet alike. */
async function watchFromStore({ store }: EngineParts, fleet: Fleet, rules: readonly Rule[]): Promise<{ readonly watch: Watch; readonly stored: LiveState }> {
  const series = await store.seriesFor(fleet.points.map((point) => point.id));
  const stored = await store.load();
  return { watch: new Watch(fleet, rules, series, stored), stored };
}

type FleetItem = Extract<Item, { type: 'fleet' }>;

const isFleet = (item: Item): item is FleetItem => 'type' in item && item.type === 'fleet';

/** Of commands and ticks there are few. */
const samplesOf = (item: Item): number => ('type' in item ? 0 : item.samples.length + samplesAnUnclaimed * (item.unclaimed?.length ?? 0));

function timeOf(item: Item): number {
  if (!('type' in item)) return item.arrivedMs;
  switch (item.type) {
    case 'command':
    case 'fleet':
      return item.arrivedMs;
    case 'tick':
    case 'resume':
    case 'reconnected':
      return item.nowMs;
  }
}
