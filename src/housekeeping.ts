/**
 * Chores of the store, every night and once after the start: seal settled days, forget what is older than its point keeps, end sessions, bring the
 * write-ahead log into the main file. Nothing that rings depends on them. Each is a row of short steps between commits.
 */
import { schedule } from 'node-cron';
import type { Clock } from './clock.ts';
import type { Fleet } from './domain/fleet.ts';
import type { Logger } from './log.ts';
import type { ChoreStep, HistoryWriter, LiveStore, Upkeep } from './store/contract.ts';

/** When the days of the whole UTC day before have been over for two hours (`src/store/seal.ts`) and a little more. */
export const NIGHTLY = '17 2 * * *';

/** Between two steps, so that a long row of them takes half of one processor at most. */
const PAUSE_MS = 10;

export interface HousekeepingParts {
  readonly store: Upkeep & Pick<HistoryWriter, 'appendJournal'> & Pick<LiveStore, 'seriesFor'>;
  readonly fleet: () => Fleet;
  readonly clock: Clock;
  readonly log: Logger;
}

export interface HousekeepingStatus {
  readonly running: boolean;
  /** End of the last run that did everything; `null` before the first. */
  readonly doneMs: number | null;
  readonly sealedReadings: number;
  readonly droppedReadings: number;
  /** What the last run could not do, in words; `null` when it did everything. */
  readonly trouble: string | null;
  readonly troubleMs: number | null;
}

export interface Housekeeping {
  /** All chores, now; joins a run that is under way. Never rejects: see `status().trouble`. */
  run(): Promise<void>;
  status(): HousekeepingStatus;
  /** Ends after the step that is under way. */
  stop(): Promise<void>;
}

/** The first run begins at once, in the background. */
export function startHousekeeping(parts: HousekeepingParts): Housekeeping {
  const chores = new Chores(parts);
  const task = schedule(NIGHTLY, () => chores.run(), { timezone: 'UTC', suppressMissedWarning: true });
  void chores.run();
  return {
    run: () => chores.run(),
    status: () => chores.status,
    stop: async () => {
      await task.destroy();
      await chores.stop();
    },
  };
}

class Chores {
  readonly #parts: HousekeepingParts;
  #underWay: Promise<void> | null = null;
  #stopped = false;
  status: HousekeepingStatus = { running: false, doneMs: null, sealedReadings: 0, droppedReadings: 0, trouble: null, troubleMs: null };

  constructor(parts: HousekeepingParts) {
    this.#parts = parts;
  }

  run(): Promise<void> {
    this.#underWay ??= this.#all().finally(() => {
      this.#underWay = null;
    });
    return this.#underWay;
  }

  async stop(): Promise<void> {
    this.#stopped = true;
    await this.#underWay;
  }

  async #all(): Promise<void> {
    const { store, clock, log } = this.#parts;
    const startMs = clock.now();
    this.status = { ...this.status, running: true };
    const failures: string[] = [];
    const chore = async (name: string, work: () => Promise<number>): Promise<number> => {
      if (this.#stopped) return 0;
      try {
        return await work();
      } catch (error) {
        // One chore that fails keeps none of the others from being done.
        log.error({ err: error, chore: name }, 'a chore failed; it is tried again next time');
        failures.push(`${name}: ${error instanceof Error ? error.message : String(error)}`);
        return 0;
      }
    };
    // Forgetting first: what is not kept need not be sealed.
    const droppedReadings = await chore('forget old readings', () => this.#forget(startMs));
    const sealedReadings = await chore('seal settled days', () => this.#stepByStep(() => store.seal(startMs)));
    await chore('end sessions', () => store.dropEndedSessions(startMs));
    await chore('checkpoint', async () => {
      if (droppedReadings + sealedReadings > 0) await store.checkpoint();
      return 0;
    });
    const doneMs = clock.now();
    if (sealedReadings + droppedReadings > 0) log.info({ sealedReadings, droppedReadings, tookMs: doneMs - startMs }, 'housekeeping done');
    this.status = {
      running: false, sealedReadings, droppedReadings, doneMs: failures.length > 0 || this.#stopped ? this.status.doneMs : doneMs,
      trouble: failures.length > 0 ? failures.join('; ') : null, troubleMs: failures.length > 0 ? doneMs : null,
    };
  }

  async #forget(nowMs: number): Promise<number> {
    const { store, fleet } = this.#parts;
    const perPoint: Record<string, number> = {};
    let total = 0;
    const limited = fleet().points.flatMap(({ id, keepMs }) => (keepMs === null ? [] : [{ id, keepMs }]));
    const series = await store.seriesFor(limited.map(({ id }) => id));
    try {
      for (const { id, keepMs } of limited) {
        const ofPoint = series.get(id);
        if (ofPoint === undefined) continue;
        const dropped = await this.#stepByStep(() => store.dropBefore(ofPoint, nowMs - keepMs));
        if (dropped > 0) perPoint[id] = dropped;
        total += dropped;
      }
    } finally {
      // What is gone is told, even if the rest could not be done.
      if (total > 0) {
        await store.appendJournal([{
          atMs: nowMs, kind: 'service', siteId: null, tankId: null, alarmId: null, by: 'tankbell',
          text: `Forgot ${total} readings of ${Object.keys(perPoint).length} points, older than the fleet file keeps them`, detail: { readings: perPoint },
        }]);
      }
    }
    return total;
  }

  /** @returns readings of all steps. */
  async #stepByStep(step: () => Promise<ChoreStep>): Promise<number> {
    let readings = 0;
    while (!this.#stopped) {
      const done = await step();
      readings += done.readings;
      if (!done.more) break;
      await this.#parts.clock.sleep(PAUSE_MS);
    }
    return readings;
  }
}
