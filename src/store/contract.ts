/**
 * The store: SQLite today, a database server later. Asynchronous by contract. One conformance suite (`tests/store/conformance.ts`)
 * holds for every implementation. Readers and writers are different types: only the engine is handed a `LiveStore`.
 */
import type { Alarm, AlarmStatus } from '../domain/alarm.ts';
import type { Calibration } from '../domain/calibration.ts';
import type { JournalEntry, JournalKind, StoredJournalEntry } from '../domain/journal.ts';
import type { Outage } from '../domain/outage.ts';
import type { OutboxPage, Page } from '../domain/page.ts';
import type { PointState } from '../domain/presence.ts';
import type { Reading, Refusal, SeriesId } from '../domain/reading.ts';
import type { ClockState } from '../domain/source-clock.ts';
import type { UnclaimedMessage } from '../domain/unclaimed.ts';

/** Everything one step of the engine decided; written in one transaction or not at all. */
export interface Batch {
  /** A reading whose (series, atMs) is known already is dropped silently: the first one stands. */
  readonly readings: readonly Reading[];
  readonly ruleStates: readonly StoredRuleState[];
  readonly statuses: readonly AlarmStatus[];
  readonly alarms: readonly Alarm[];
  readonly journal: readonly JournalEntry[];
  /** A page whose id is known already is dropped silently. */
  readonly pages: readonly Page[];
  readonly refusals: readonly RefusalCount[];
  /** Left out: nothing changed. */
  readonly pointStates?: readonly PointState[];
  /** Messages no point reads, in order of arrival. */
  readonly unclaimed?: readonly UnclaimedMessage[];
  readonly outages?: readonly OutageChange[];
  readonly clocks?: readonly ClockChange[];
  /** The engine was alive and up to date at this time. */
  readonly aliveMs: number;
}

/** `null`: the clock is right. */
export interface ClockChange {
  readonly source: string;
  readonly state: ClockState | null;
}

/** Found or moved, or (`null`) told and done with. */
export interface OutageChange {
  readonly id: string;
  readonly outage: Outage | null;
}

export interface StoredRuleState {
  readonly ruleId: string;
  readonly state: unknown;
  readonly wakeAtMs: number | null;
}

/** Refusals of one source for one reason, folded: the list stays bounded. */
export interface RefusalCount extends Refusal {
  readonly count: number;
  readonly lastMs: number;
}

/** What the engine needs to go on after a restart. */
export interface LiveState {
  readonly ruleStates: readonly StoredRuleState[];
  readonly statuses: readonly AlarmStatus[];
  /** Alarms that are not closed. */
  readonly openAlarms: readonly Alarm[];
  readonly pointStates: readonly PointState[];
  /** For each series its two latest usable readings, newest first; those sent as history are left out, here and below. */
  readonly latest: ReadonlyMap<SeriesId, readonly Reading[]>;
  /** For each series the time of its latest reading of any quality. */
  readonly lastStampMs: ReadonlyMap<SeriesId, number>;
  readonly nextAlarmId: number;
  /** By source: clocks under suspicion or found wrong. */
  readonly clocks: ReadonlyMap<string, ClockState>;
  /** By point and time. */
  readonly calibrations: readonly Calibration[];
  /** Not told yet. */
  readonly outages: readonly Outage[];
  /** `aliveMs` of the last batch; `null` for a new store. */
  readonly aliveMs: number | null;
}

export interface LiveStore {
  /** Series of these point ids, made where missing. */
  seriesFor(pointIds: readonly string[]): Promise<ReadonlyMap<string, SeriesId>>;
  load(): Promise<LiveState>;
  /** @throws StoreError, `permanent` when trying again cannot help. */
  commit(batch: Batch): Promise<void>;
  /**
   * The disk. Where `takesReadings` is false, what room is left is kept for alarms, pages and the journal: readings must wait with their senders,
   * unacknowledged. A batch that has some is still committed if it can be.
   */
  space(): { readonly takesReadings: boolean; /** What to do, in words; `null`: all is well. */ readonly trouble: string | null };
}

/** The sending side of the outbox. Claims are compare-and-set, so that two senders never hold one page. */
export interface Outbox {
  /** Queued pages that are due, and claims older than `claimMs` (a sender that died); marked claimed, this attempt counted. */
  claim(nowMs: number, limit: number, claimMs: number): Promise<readonly OutboxPage[]>;
  /** Settles a claimed page, with its journal row, in one transaction. @throws StoreError, permanent, when the page is not claimed. */
  settle(pageId: string, outcome: PageOutcome, journal: JournalEntry): Promise<void>;
  /** Adds a page that no alarm asked for (a test page). */
  enqueue(page: Page): Promise<void>;
  /** Creation time of the oldest page not yet handed over or refused. */
  oldestUnsentMs(): Promise<number | null>;
}

export type PageOutcome =
  | { readonly state: 'handed-over'; readonly atMs: number }
  | { readonly state: 'queued'; readonly nextTryMs: number; readonly error: string }
  | { readonly state: 'refused'; readonly atMs: number; readonly error: string };

export interface Bucket {
  readonly fromMs: number;
  readonly n: number;
  readonly min: number;
  readonly max: number;
  readonly mean: number;
}

export interface AlarmQuery {
  readonly tankId?: string;
  readonly siteId?: string;
  readonly open?: boolean;
  /** Alarms whose life touches this span. */
  readonly fromMs?: number;
  readonly toMs?: number;
  readonly limit: number;
}

export interface JournalQuery {
  readonly tankId?: string;
  readonly siteId?: string;
  readonly alarmId?: number;
  readonly kinds?: readonly JournalKind[];
  /** Case-insensitive substring of the text. */
  readonly contains?: string;
  readonly fromMs?: number;
  readonly toMs?: number;
  /** Entries with a smaller id: the next page of a listing, newest first. */
  readonly beforeId?: number;
  readonly limit: number;
}

export interface HistoryReader {
  /** Series of a point, or `null` when nothing was ever stored for it. */
  seriesOf(pointId: string): Promise<SeriesId | null>;
  /** Usable and suspect readings in [fromMs, toMs), oldest first. */
  readings(series: SeriesId, fromMs: number, toMs: number): Promise<readonly Reading[]>;
  /**
   * At most `count` buckets of equal width over [fromMs, toMs), usable readings only; empty buckets are left out. Lowest, highest and mean are exact.
   * The edges: `src/store/bucket-edges.ts`.
   */
  buckets(series: SeriesId, fromMs: number, toMs: number, count: number): Promise<readonly Bucket[]>;
  /** Latest usable reading. */
  latest(series: SeriesId): Promise<Reading | null>;
  alarm(id: number): Promise<Alarm | null>;
  /** Newest opened first. */
  alarms(query: AlarmQuery): Promise<readonly Alarm[]>;
  statuses(): Promise<readonly AlarmStatus[]>;
  /** Newest first. */
  journal(query: JournalQuery): Promise<readonly StoredJournalEntry[]>;
  pages(query: { readonly alarmId?: number; readonly limit: number }): Promise<readonly OutboxPage[]>;
  refusals(limit: number): Promise<readonly RefusalCount[]>;
}

/** Readings of one series, in the order they came in: three columns of equal length. A series may stand in several of them. */
export interface SeriesColumns {
  readonly series: SeriesId;
  readonly atMs: Float64Array;
  readonly value: Float64Array;
  readonly quality: Float64Array;
}

/** History that arrives in bulk (CSV): stored, never judged. */
export interface HistoryWriter {
  /**
   * One transaction. Days that were settled at the last commit are sealed at once: faster by far when a call brings much of a day together.
   * @returns how many were new; the rest were known already.
   */
  addHistory(history: readonly SeriesColumns[]): Promise<number>;
  appendJournal(entries: readonly JournalEntry[]): Promise<void>;
}

export interface Account {
  readonly id: number;
  readonly name: string;
  readonly passwordHash: string;
  readonly createdMs: number;
  /** Person of the fleet this login belongs to, if any. */
  readonly personId: string | null;
}

export interface AccountStore {
  accounts(): Promise<readonly Account[]>;
  accountByName(name: string): Promise<Account | null>;
  /** Adds, or replaces password and person of, the account of that name. Another password ends its sessions. */
  putAccount(account: Omit<Account, 'id'>): Promise<void>;
  removeAccount(name: string): Promise<boolean>;
  putSession(session: { readonly tokenHash: string; readonly accountId: number; readonly expiresMs: number }): Promise<void>;
  accountBySession(tokenHash: string, nowMs: number): Promise<Account | null>;
  removeSession(tokenHash: string): Promise<void>;
}

/** The fleet as last applied: kept so that a change can be told from a repetition. */
export interface FleetStore {
  /** The checked document as YAML text, or `null` before the first. */
  fleetText(): Promise<string | null>;
  /** Replaces it and journals the changes, in one transaction. */
  putFleet(text: string, journal: readonly JournalEntry[]): Promise<void>;
}

/** What one step of a chore did, and whether there is more of it to do. */
export interface ChoreStep {
  readonly readings: number;
  readonly more: boolean;
}

/** Chores, done between commits: every call is one short transaction, so that no commit waits long for it. A crash anywhere loses nothing. */
export interface Upkeep {
  /** Seals some readings of days that are settled: over for a while, so that little more will come. */
  seal(nowMs: number): Promise<ChoreStep>;
  /** Forgets some of the days of a series that ended before `beforeMs`, oldest first. Days that it touches stay whole. */
  dropBefore(series: SeriesId, beforeMs: number): Promise<ChoreStep>;
  /** Forgets sessions that have ended. @returns how many. */
  dropEndedSessions(nowMs: number): Promise<number>;
  /** Keeps how far it has come and what was found, with its journal rows. Beyond a bound no more faults are kept. */
  putSealedCheck(done: SealedCheckDone): Promise<void>;
  /** Brings what was committed from the write-ahead log into the main file. */
  checkpoint(): Promise<void>;
}

export interface SealedDay {
  readonly series: SeriesId;
  /** Days since 1970 of UTC. */
  readonly day: number;
}

export interface DayFault extends SealedDay {
  /** `null`: its series belongs to no point. */
  readonly pointId: string | null;
  /** What is wrong, in a sentence that names the day. */
  readonly what: string;
  readonly foundMs: number;
}

export interface SealedCheckState {
  readonly sealedDays: number;
  /** Days found damaged so far and not found whole since; a bounded number of them. */
  readonly faults: readonly DayFault[];
  /** Where to go on: the day looked at longest ago. */
  readonly next: SealedDay;
  /** When days were last looked at; `null`: never. */
  readonly lastMs: number | null;
}

/** Looking again at what was sealed, from the first to the last day and from the first again. Looking changes nothing, waits for nobody and is short. */
export interface SealedChecks {
  sealedCheck(): Promise<SealedCheckState>;
  /** Some days, from `from` on. `next` is `null` when the last one was among them. */
  checkSealed(from: SealedDay): Promise<{ readonly days: number; readonly wrong: readonly Omit<DayFault, 'foundMs'>[]; readonly next: SealedDay | null }>;
  /** @returns what is wrong with one day; `null`: nothing, or it is gone. */
  checkDay(day: SealedDay): Promise<string | null>;
}

/** What a look at sealed days came to. */
export interface SealedCheckDone {
  readonly next: SealedDay;
  readonly atMs: number;
  readonly found: readonly DayFault[];
  readonly mended: readonly SealedDay[];
  readonly journal: readonly JournalEntry[];
}

/** How a file with a certain header was read the last time, so that nobody has to say it twice. */
export interface ImportMemory {
  readonly headerKey: string;
  readonly tankId: string | null;
  /** As JSON keeps it; whoever reads it checks it, since another version may have written it. */
  readonly choices: unknown;
  readonly savedMs: number;
  readonly by: string;
}

export interface ImportMemoryStore {
  importMemory(headerKey: string, tankId: string | null): Promise<ImportMemory | null>;
  /** Replaces what was kept for the same header and tank; the oldest of many are forgotten. */
  rememberImport(memory: ImportMemory): Promise<void>;
}

export interface CalibrationStore {
  /** By point and time. */
  calibrations(): Promise<readonly Calibration[]>;
  /** Adds it, or replaces the one of the same point and time; with its journal row, in one transaction. Readings stay as they are. */
  putCalibration(calibration: Calibration, journal: JournalEntry): Promise<void>;
}

export interface UnclaimedSource {
  readonly topic: string;
  readonly siteId: string | null;
  /** Points read some of its values. */
  readonly partial: boolean;
  readonly firstMs: number;
  readonly lastMs: number;
  /** How many came in all; the latest of them are kept. */
  readonly messages: number;
}

/** What arrived on topics no point reads. Bounded (`src/domain/unclaimed.ts`): the latest of the sources heard last. */
export interface UnclaimedStore {
  /** Heard last first. */
  unclaimedSources(): Promise<readonly UnclaimedSource[]>;
  unclaimedSource(topic: string): Promise<UnclaimedSource | null>;
  /** The latest kept, at most `limit`, newest first. */
  unclaimedMessages(topic: string, limit: number): Promise<readonly UnclaimedMessage[]>;
  /**
   * Stores readings made of kept messages as history, and forgets the source unless it has more values nobody reads; one transaction.
   * @returns how many were new.
   */
  claimUnclaimed(topic: string, readings: readonly Reading[], hasMore: boolean): Promise<number>;
}

export interface Store
  extends LiveStore, Outbox, HistoryReader, HistoryWriter, AccountStore, FleetStore, Upkeep, SealedChecks, ImportMemoryStore, UnclaimedStore, CalibrationStore {
  close(): Promise<void>;
}

export class StoreError extends Error {
  override readonly name = 'StoreError';
  readonly permanent: boolean;
  constructor(message: string, options: { permanent: boolean; cause?: unknown }) {
    super(message, { cause: options.cause });
    this.permanent = options.permanent;
  }
}

/** Some of what was asked for is damaged on the disk. Nothing of it is returned: no value is better than a wrong one. */
export class DamagedError extends StoreError {
  constructor(message: string, cause?: unknown) {
    super(message, { permanent: true, cause });
  }
}
