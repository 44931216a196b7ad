/**
 * One CSV file into the store. What is older than its point calls current is history: stored, never judged, so that a past that is over
 * does not ring. What is recent goes the way of every reading, in order of time, through the rules. It gives way between chunks: what
 * arrives live is taken in meanwhile.
 */
import { CsvFileError, readCsv } from '../../adapters/csv.ts';
import { type CsvChoices, csvOptionsOf } from '../../adapters/csv-choices.ts';
import { splitUnit } from '../../adapters/csv-header.ts';
import type { CsvReadings, CsvSource } from '../../adapters/csv-readings.ts';
import type { Clock } from '../clock.ts';
import { SECOND } from '../domain/duration.ts';
import type { Fleet, Point } from '../domain/fleet.ts';
import { kinds } from '../domain/kinds.ts';
import { Quality, type Reading, type Sample, type SeriesId } from '../domain/reading.ts';
import { converter } from '../domain/units.ts';
import { aheadBoundMs, canonicalValue, unsetClockMs } from '../ingest/intake.ts';
import { type HistoryReader, type HistoryWriter, type LiveStore, StoreError } from '../store/contract.ts';
import type { EngineFace } from './contract.ts';
import { type ImportFile, type ImportRefusal, type ImportReport, type LeftOut, type RejectedSink, leftOutShown, refusedShown, rejectedBound } from './import-contract.ts';
import { ImportHistory, type PendingSeries } from './import-history.ts';
import { destinationOf, pointsFor } from './import-mapping.ts';

export interface RunParts {
  readonly store: HistoryWriter & Pick<HistoryReader, 'readings'> & Pick<LiveStore, 'seriesFor'>;
  readonly engine: EngineFace;
  readonly clock: Clock;
}

export interface RunOrder {
  readonly file: ImportFile;
  readonly tankId: string | null;
  readonly choices: CsvChoices;
  readonly fleet: Fleet;
  /** Read and report, store nothing. */
  readonly dryRun: boolean;
  readonly rejected: RejectedSink;
}

/** Samples of one delivery to the engine. */
const deliveryRows = 1000;
/** Recent readings held until the end of the file, to be judged in order of time; of more only the newest are judged. */
const recentBound = 100_000;
/** Rows of recent readings that are stored unjudged at a time. */
const spilledRows = 10_000;
/** Waits before a chunk is tried again that the store could not take. */
const retryMs = [SECOND, 2 * SECOND, 5 * SECOND, 10 * SECOND, 30 * SECOND] as const;

interface Lane {
  readonly isLeftOut: false;
  readonly label: string;
  readonly point: Point;
  readonly series: SeriesId;
  /** Its history that waits to be stored; two columns of one point share it. */
  readonly pending: PendingSeries;
  /** Unit said in the mapping; overrides the file. */
  readonly unit: string | null;
  readonly low: number;
  readonly high: number;
  readings: number;
  /** Converter of the unit met last. */
  convertUnit: string | null;
  convert: ((value: number) => number) | null;
}

/** A column or series that goes to no point: counted, and nothing else. */
interface LeftOutLane {
  readonly isLeftOut: true;
  readonly label: string;
  readonly why: LeftOut['why'];
  values: number;
}

export type RunEnd = { readonly end: 'done' | 'cancelled' } | { readonly end: 'failed'; readonly problem: string };

export class ImportRun {
  readonly #order: RunOrder;
  readonly #parts: RunParts;
  readonly #points: readonly Point[];
  readonly #nowMs: number;
  readonly #lanes = new Map<string, Lane | LeftOutLane>();
  /** Cells of columns that the reader of the file does not look into. */
  readonly #unread = new Map<string, number>();
  readonly #laneOfPoint = new Map<string, Lane>();
  readonly #refused: ImportRefusal[] = [];
  #series: ReadonlyMap<string, SeriesId> = new Map();
  #recent: { readonly lane: Lane; readonly reading: Reading }[] = [];
  readonly #history = new ImportHistory();
  #rejected: ImportRefusal[] = [];
  #refusedTotal = 0;
  #lines = 0;
  #missing = 0;
  #lastLine = 0;
  #offered = 0;
  #settled = 0;
  #stored = 0;
  #fromMs = Number.POSITIVE_INFINITY;
  #toMs = Number.NEGATIVE_INFINITY;
  #cancelled = false;
  bytesRead = 0;

  constructor(order: RunOrder, parts: RunParts) {
    this.#order = order;
    this.#parts = parts;
    this.#nowMs = parts.clock.now();
    this.#points = pointsFor(order.fleet, order.tankId);
  }

  /** Stops at the next chunk; what is stored stays. */
  cancel(): void {
    this.#cancelled = true;
  }

  /** @throws only what is a fault of the program. */
  async run(): Promise<RunEnd> {
    const content = this.#order.file.open();
    try {
      if (!this.#order.dryRun) this.#series = await this.#persist(() => this.#parts.store.seriesFor(this.#points.map(({ id }) => id)));
      const zone = zoneFor(this.#order.fleet, this.#order.tankId);
      for await (const block of readCsv(this.#counted(content), csvOptionsOf(this.#order.choices, zone))) {
        this.#lines += block.lines;
        this.#missing += block.missing;
        for (const [label, cells] of block.unread) this.#unread.set(label, (this.#unread.get(label) ?? 0) + cells);
        for (const { line, reason } of block.refusals) this.#refuse(line, reason);
        await this.#handOut();
        const { readings } = block;
        for (let at = 0; at < readings.length && !this.#cancelled; at += 1) {
          this.#row(readings, at);
          if (this.#history.isChunk) await this.#settle();
        }
        if (this.#cancelled) break;
      }
      // What has been read and not stored yet is left, when somebody has cancelled.
      await this.#settle();
      await this.#judgeRecent();
    } catch (error) {
      if (error instanceof CsvFileError) {
        return { end: 'failed', problem: `line ${error.line}: ${error.message}` };
      } else if (error instanceof StoreError || isFileError(error)) {
        return { end: 'failed', problem: `stopped near line ${this.#lastLine}: ${error.message}` };
      } else {
        throw error;
      }
    } finally {
      content.destroy();
      await this.#handOut();
    }
    return { end: this.#cancelled ? 'cancelled' : 'done' };
  }

  report(): ImportReport {
    const { dryRun } = this.#order;
    return {
      rowsRead: this.#lines, stored: dryRun ? this.#offered : this.#stored, alreadyKnown: dryRun ? 0 : this.#settled - this.#stored,
      refusedTotal: this.#refusedTotal, refused: this.#refused, missing: this.#missing, span: this.#offered === 0 ? null : { fromMs: this.#fromMs, toMs: this.#toMs },
      perPoint: [...this.#lanes.values()].flatMap((lane) => (lane.isLeftOut || lane.readings === 0 ? [] : [{ label: lane.label, pointId: lane.point.id, readings: lane.readings }])),
      ...this.#leftOut(),
    };
  }

  #leftOut(): Pick<ImportReport, 'leftOut' | 'leftOutTotal'> {
    const all: LeftOut[] = [...this.#unread].map(([label, values]) => ({ label, values, why: 'said' }));
    for (const lane of this.#lanes.values()) if (lane.isLeftOut && lane.values > 0) all.push({ label: lane.label, values: lane.values, why: lane.why });
    const leftOutTotal = all.reduce((sum, { values }) => sum + values, 0);
    return { leftOut: all.sort((a, b) => b.values - a.values).slice(0, leftOutShown), leftOutTotal };
  }

  async *#counted(content: AsyncIterable<Uint8Array>): AsyncGenerator<Uint8Array> {
    for await (const chunk of content) {
      this.bytesRead += chunk.length;
      yield chunk;
    }
  }

  #row({ source: sources, line: lines, atMs: times, value: values, words }: CsvReadings, at: number): void {
    const source = sources[at];
    const line = lines[at] ?? Number.NaN;
    const atMs = times[at] ?? Number.NaN;
    if (source === undefined) return;
    this.#lastLine = line;
    let lane = this.#lanes.get(source.label);
    if (lane === undefined) lane = this.#open(source, line);
    if (lane.isLeftOut) {
      lane.values += 1;
      return;
    }
    const read = values[at] ?? Number.NaN;
    const value = this.#value(lane, source, line, Number.isNaN(read) ? (words.get(at) ?? read) : read);
    if (value === null) return;
    if (atMs > this.#nowMs + aheadBoundMs || atMs < unsetClockMs) {
      this.#refuse(line, `${new Date(atMs).toISOString()} is ${atMs < unsetClockMs ? 'before the year 2000: the logger\'s clock was not set' : 'in the future'}; check the time zone, the order of day and month, and the clock`);
      return;
    }
    const quality = value < lane.low || value > lane.high ? Quality.outOfRange : Quality.good;
    lane.readings += 1;
    this.#offered += 1;
    if (atMs < this.#fromMs) this.#fromMs = atMs;
    if (atMs > this.#toMs) this.#toMs = atMs;
    if (atMs >= this.#nowMs - lane.point.silentAfterMs) {
      this.#recent.push({ lane, reading: { series: lane.series, atMs, value, quality } });
      if (this.#recent.length >= 2 * recentBound) this.#spill(recentBound);
      return;
    }
    if (!this.#order.dryRun) this.#history.add(lane.pending, atMs, value, quality);
  }

  #value(lane: Lane, source: CsvSource, line: number, read: number | string): number | null {
    const unit = lane.unit ?? source.unit ?? lane.point.unit;
    if (typeof read === 'number' && lane.point.kind !== 'switch') {
      if (lane.convert === null || lane.convertUnit !== unit) {
        lane.convert = converter(lane.point.kind, unit);
        lane.convertUnit = unit;
      }
      const converted = lane.convert === null ? Number.NaN : lane.convert(read);
      if (Number.isFinite(converted)) return converted;
    }
    const value = canonicalValue(lane.point, read, unit);
    if (typeof value === 'number') return value;
    this.#refuse(line, `${source.pointName}: ${value.wrong}`);
    return null;
  }

  /** The first row of a column or series: where does it go? */
  #open(source: CsvSource, line: number): Lane | LeftOutLane {
    const column = { label: source.label, name: source.label === source.pointName ? splitUnit(source.label).name : source.pointName, unit: source.unit };
    const destination = destinationOf(column, this.#order.choices, this.#points, this.#order.tankId);
    const lane = this.#laneFor(source, line, destination);
    this.#lanes.set(source.label, lane);
    return lane;
  }

  #laneFor(source: CsvSource, line: number, destination: ReturnType<typeof destinationOf>): Lane | LeftOutLane {
    if (destination.kind === 'skip') return { isLeftOut: true, label: source.label, why: 'said', values: 0 };
    if (destination.kind === 'nowhere') return this.#leaveOut(source, line, destination.why);
    const { point, unit } = destination;
    const taken = this.#laneOfPoint.get(point.id);
    if (taken !== undefined && this.#order.choices.columns.every(({ label }) => label !== source.label)) return this.#leaveOut(source, line, `"${source.label}" goes to ${point.id}, and "${taken.label}" goes there already`);
    const series = this.#order.dryRun ? 0 : this.#series.get(point.id);
    if (series === undefined) throw new Error(`${point.id} has no series`);
    const [low, high] = kinds[point.kind].range;
    const lane: Lane = { isLeftOut: false, label: source.label, point, series, pending: taken?.pending ?? this.#history.of(series), unit, low, high, readings: 0, convertUnit: null, convert: null };
    this.#laneOfPoint.set(point.id, lane);
    return lane;
  }

  /** Said once for a whole column or series, not for each of its rows. */
  #leaveOut({ label }: CsvSource, line: number, why: string): LeftOutLane {
    this.#refuse(line, `${why}. Everything under this name is left out`);
    return { isLeftOut: true, label, why: 'nowhere', values: 0 };
  }

  #refuse(line: number, reason: string): void {
    this.#refusedTotal += 1;
    if (this.#refused.length < refusedShown) this.#refused.push({ line, reason });
    if (this.#refusedTotal <= rejectedBound) this.#rejected.push({ line, reason });
  }

  async #handOut(): Promise<void> {
    const rejected = this.#rejected;
    this.#rejected = [];
    if (rejected.length > 0) await this.#order.rejected(rejected);
  }

  /** Stores all the history that waits. */
  async #settle(): Promise<void> {
    const { store, clock } = this.#parts;
    while (this.#history.waiting > 0 && !this.#cancelled) {
      const chunk = this.#history.take();
      const startMs = clock.now();
      this.#stored += await this.#persist(() => store.addHistory(chunk));
      this.#history.stored(chunk, clock.now() - startMs);
      for (const { atMs } of chunk) this.#settled += atMs.length;
      // What has arrived meanwhile goes first.
      await new Promise<void>((resolve) => clock.soon(resolve));
    }
  }

  /** A store in trouble for a moment (disk full, busy) is tried again a few times. */
  async #persist<T>(work: () => Promise<T>): Promise<T> {
    for (let attempt = 0; ; attempt += 1) {
      try {
        return await work();
      } catch (error) {
        const waitMs = retryMs[attempt];
        if (!(error instanceof StoreError) || error.permanent || waitMs === undefined || this.#cancelled) throw error;
        await this.#parts.clock.sleep(waitMs);
      }
    }
  }

  /** Of too many recent ones the oldest are stored as history is. */
  #spill(count: number): void {
    this.#recent.sort((a, b) => a.reading.atMs - b.reading.atMs);
    for (const { lane, reading } of this.#recent.splice(0, count)) if (!this.#order.dryRun) this.#history.add(lane.pending, reading.atMs, reading.value, reading.quality);
  }

  async #judgeRecent(): Promise<void> {
    if (this.#order.dryRun) return;
    while (this.#recent.length > recentBound && !this.#cancelled) {
      this.#spill(Math.min(spilledRows, this.#recent.length - recentBound));
      await this.#settle();
    }
    const recent = this.#cancelled ? [] : this.#recent.sort((a, b) => a.reading.atMs - b.reading.atMs);
    const fresh = await this.#countNew(recent.map(({ reading }) => reading));
    // The newest row of the history goes along, so that "last seen" is right at once; it is too old to be judged.
    const newest = [...this.#laneOfPoint.values()].flatMap((lane) => (lane.pending.newest === null ? [] : [{ lane, reading: lane.pending.newest }]));
    const samples = [...newest, ...recent].map(({ lane: { point }, reading }): Sample => ({ pointId: point.id, atMs: reading.atMs, value: reading.value, unit: kinds[point.kind].unit }));
    for (let at = 0; at < samples.length; at += deliveryRows) await this.#deliver(samples.slice(at, at + deliveryRows));
    this.#stored += fresh;
    this.#settled += recent.length;
  }

  async #countNew(readings: readonly Reading[]): Promise<number> {
    const bySeries = new Map<SeriesId, Reading[]>();
    for (const reading of readings) {
      const list = bySeries.get(reading.series);
      if (list === undefined) bySeries.set(reading.series, [reading]);
      else list.push(reading);
    }
    let count = 0;
    for (const [series, offered] of bySeries) {
      const times = new Set(offered.map(({ atMs }) => atMs));
      const [first] = offered;
      const last = offered.at(-1);
      if (first === undefined || last === undefined) continue;
      for (const known of await this.#persist(() => this.#parts.store.readings(series, first.atMs, last.atMs + 1))) times.delete(known.atMs);
      count += times.size;
    }
    return count;
  }

  async #deliver(samples: readonly Sample[]): Promise<void> {
    const { engine, clock } = this.#parts;
    await new Promise<void>((resolve, reject) => {
      let tries = 0;
      const offer = (): void => {
        // The queue is full of live readings: they go first. An engine that takes nothing for minutes is stopped or stuck.
        if (engine.deliver({ arrivedMs: clock.now(), samples, refusals: [], fromFile: true, committed: resolve })) return;
        tries += 1;
        if (tries > 6000) reject(new StoreError('the service takes no readings; import the file again when it does', { permanent: true }));
        else void clock.sleep(50).then(offer);
      };
      offer();
    });
  }
}

/** The zone of the tank's site; with no tank there is none. */
export function zoneFor(fleet: Fleet, tankId: string | null): string | null {
  const siteId = fleet.tanks.find(({ id }) => id === tankId)?.siteId;
  return fleet.sites.find(({ id }) => id === siteId)?.timeZone ?? null;
}

/** The file went away or cannot be read: an operating failure. */
function isFileError(error: unknown): error is Error {
  return error instanceof Error && 'code' in error && typeof error.code === 'string' && /^E[A-Z]+$/.test(error.code);
}
