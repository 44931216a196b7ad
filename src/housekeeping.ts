/**
 * Chores of the store, every night and once after the start: seal settled days, forget what is older than its point keeps, end sessions, bring the
 * write-ahead log into the main file, look at a share of the sealed days whether they are still whole. Nothing that rings depends on them. Each is a
 * row of short steps between commits.
 */
import { schedule } from 'node-cron';
import type { Clock } from './clock.ts';
import { HOUR, SECOND } from './domain/duration.ts';
import type { Fleet } from './domain/fleet.ts';
import type { JournalEntry } from './domain/journal.ts';
import type { Logger } from './log.ts';
import type { ChoreStep, DayFault, HistoryWriter, LiveStore, SealedChecks, SealedDay, Upkeep } from './store/contract.ts';

/** When the days of the whole UTC day before have been over for two hours (`src/store/seal.ts`) and a little more. */
export const NIGHTLY = '17 2 * * *';

/** Between two steps, so that a long row of them takes half of one processor at most. */
const PAUSE_MS = 10;

/**
 * Every sealed day is looked at again once in so many nights, a small store every night: long before the oldest of a usual row of backups is
 * overwritten. A year of 1,000 points are 26,000 days a night, a minute or two beside everything else.
 */
const NIGHTS_FOR_ALL = 14;
const DAYS_A_NIGHT_AT_LEAST = 5_000;
/** Starts follow each other when something is wrong or being set up: the share of a night is not done again for each. */
const CHECK_AGAIN_AFTER_MS = 20 * HOUR;
/** How far the look has come is kept after so many days: a commit for each step would cost more than looking again. */
const DAYS_BETWEEN_NOTES = 500;
const FAULTS_TOLD = 20;

export interface HousekeepingParts {
  readonly store: Upkeep & SealedChecks & Pick<HistoryWriter, 'appendJournal'> & Pick<LiveStore, 'seriesFor'>;
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
  /** Sealed days that the last run looked at again. */
  readonly checkedDays: number;
  /** Sealed days found damaged, oldest finding first; a bounded number of them. */
  readonly faults: readonly DayFault[];
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

/** After a start there is more urgent work: readings that waited in the broker, pages that are overdue. */
const FIRST_AFTER_MS = 30 * SECOND;

/** The first run begins soon, in the background. */
export function startHousekeeping(parts: HousekeepingParts): Housekeeping {
  const chores = new Chores(parts);
  const task = schedule(NIGHTLY, () => chores.run(), { timezone: 'UTC', suppressMissedWarning: true });
  const stopWaiting = parts.clock.every(FIRST_AFTER_MS, () => {
    stopWaiting();
    void chores.run();
  });
  return {
    run: () => chores.run(),
    status: () => chores.status,
    stop: async () => {
      stopWaiting();
      await task.destroy();
      await chores.stop();
    },
  };
}

class Chores {
  readonly #parts: HousekeepingParts;
  #underWay: Promise<void> | null = null;
  #stopped = false;
  status: HousekeepingStatus = { running: false, doneMs: null, sealedReadings: 0, droppedReadings: 0, checkedDays: 0, faults: [], trouble: null, troubleMs: null };

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
    const checkedDays = await chore('look at sealed days', () => this.#check(startMs));
    const doneMs = clock.now();
    if (sealedReadings + droppedReadings + checkedDays > 0) log.info({ sealedReadings, droppedReadings, checkedDays, tookMs: doneMs - startMs }, 'housekeeping done');
    this.status = {
      running: false, sealedReadings, droppedReadings, checkedDays, faults: this.status.faults, doneMs: failures.length > 0 || this.#stopped ? this.status.doneMs : doneMs,
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

  /** @returns how many sealed days were looked at. */
  async #check(nowMs: number): Promise<number> {
    const { store, log } = this.#parts;
    const { sealedDays, faults, next, lastMs } = await store.sealedCheck();
    this.status = { ...this.status, faults };
    // A backup may have been put in place, a day may be forgotten by now.
    const mended: DayFault[] = [];
    for (const fault of faults) {
      if (this.#stopped) return 0;
      if ((await store.checkDay(fault)) === null) mended.push(fault);
      await this.#parts.clock.sleep(PAUSE_MS);
    }
    const known = new Set(faults.map(keyOf));
    let notedDays = 0;
    const note = async (next: SealedDay, found: readonly DayFault[], mended: readonly DayFault[]): Promise<void> => {
      for (const { what, pointId } of found) log.error({ pointId, fault: what }, 'a sealed day is damaged');
      await store.putSealedCheck({ next, atMs: nowMs, found, mended, journal: [...foundEntry(nowMs, found), ...mendedEntry(nowMs, mended)] });
      this.status = { ...this.status, faults: (await store.sealedCheck()).faults };
    };
    if (mended.length > 0) await note(next, [], mended);
    if (lastMs !== null && nowMs >= lastMs && nowMs - lastMs < CHECK_AGAIN_AFTER_MS) return 0;

    const share = Math.min(sealedDays, Math.max(DAYS_A_NIGHT_AT_LEAST, Math.ceil(sealedDays / NIGHTS_FOR_ALL)));
    let days = 0;
    let at = next;
    let found: DayFault[] = [];
    while (days < share && !this.#stopped) {
      const step = await store.checkSealed(at);
      days += step.days;
      at = step.next ?? BEFORE_ALL;
      for (const fault of step.wrong) {
        if (!known.has(keyOf(fault))) found.push({ ...fault, foundMs: nowMs });
        known.add(keyOf(fault));
      }
      if (days - notedDays >= DAYS_BETWEEN_NOTES) {
        await note(at, found, []);
        notedDays = days;
        found = [];
      }
      await this.#parts.clock.sleep(PAUSE_MS);
    }
    if (days > notedDays) await note(at, found, []);
    return days;
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

/** Before the first day of every series. */
const BEFORE_ALL: SealedDay = { series: 0, day: 0 };

const keyOf = ({ series, day }: SealedDay): string => `${series}/${day}`;

function foundEntry(atMs: number, found: readonly DayFault[]): readonly JournalEntry[] {
  if (found.length === 0) return [];
  const [first] = found;
  const count = found.length === 1 ? 'A sealed day is damaged' : `${found.length} sealed days are damaged`;
  return [{ ...SERVICE, atMs, text: `${count} on the disk: ${first === undefined ? '' : toldFault(first)}${found.length > 1 ? ' and more' : ''}. Keep a copy of the store and restore a backup that has them.`, detail: { faults: found.slice(0, FAULTS_TOLD).map(toldFault) } }];
}

function mendedEntry(atMs: number, mended: readonly DayFault[]): readonly JournalEntry[] {
  if (mended.length === 0) return [];
  return [{ ...SERVICE, atMs, text: `${mended.length === 1 ? 'A sealed day that was damaged is' : `${mended.length} sealed days that were damaged are`} whole again, or no longer kept`, detail: { faults: mended.slice(0, FAULTS_TOLD).map(toldFault) } }];
}

const toldFault = ({ pointId, what }: DayFault): string => `${pointId ?? 'no point'}: ${what}`;

const SERVICE = { kind: 'service', siteId: null, tankId: null, alarmId: null, by: 'tankbell' } as const;
