/**
 * A CSV file of a logger into the store. What is older than its point calls current is history: stored, never judged, so that a past that is
 * over does not ring. What is recent goes the way of every reading, in order of time, through the rules.
 */
import { CsvFileError, type CsvRow, isCsvRow, readCsv } from '../../adapters/csv.ts';
import type { Clock } from '../clock.ts';
import type { Fleet, Point } from '../domain/fleet.ts';
import { kinds } from '../domain/kinds.ts';
import { Quality, type Reading, type Sample, type SeriesId } from '../domain/reading.ts';
import { aheadBoundMs, canonicalValue, unsetClockMs } from '../ingest/intake.ts';
import type { HistoryReader, HistoryWriter, LiveStore } from '../store/contract.ts';
import type { EngineFace } from './contract.ts';
import { type ImportRefusal, type ImportReport, type ImportRequest, refusedShown } from './import-contract.ts';

export interface ImportParts {
  readonly store: HistoryWriter & Pick<HistoryReader, 'readings'> & Pick<LiveStore, 'seriesFor'>;
  readonly engine: EngineFace;
  readonly fleet: Fleet;
  readonly clock: Clock;
}

/** Rows of one transaction. */
const chunkRows = 20_000;
/** Samples of one delivery to the engine. */
const deliveryRows = 1000;

/** @throws StoreError; a file that cannot be read is no error but a report that says so. */
export async function importCsv(request: ImportRequest, parts: ImportParts): Promise<ImportReport> {
  const run = new Import(request, parts, await parts.store.seriesFor(parts.fleet.points.map(({ id }) => id)));
  try {
    const site = parts.fleet.sites.find(({ id }) => id === parts.fleet.tanks.find((tank) => tank.id === request.tankId)?.siteId);
    const options = {
      dateOrder: request.dateOrder ?? undefined, timeZone: request.timeZone ?? site?.timeZone, timeFormat: request.timeFormat ?? undefined, decimalComma: request.decimalComma,
    };
    for await (const item of readCsv(request.content, options)) {
      if (isCsvRow(item)) await run.row(item);
      else run.refuse(item.line, item.reason);
    }
  } catch (error) {
    if (!(error instanceof CsvFileError)) throw error;
    run.refuse(error.line, error.message);
  } finally {
    request.content.destroy();
  }
  return run.finish();
}

interface Counted {
  readonly point: Point;
  readonly series: SeriesId;
  readings: number;
  newestOld: Reading | null;
}

class Import {
  readonly #request: ImportRequest;
  readonly #parts: ImportParts;
  readonly #nowMs: number;
  readonly #byName = new Map<string, Counted | null>();
  readonly #series: ReadonlyMap<string, SeriesId>;
  readonly #refused: ImportRefusal[] = [];
  readonly #unclaimed = new Set<string>();
  readonly #recent: { counted: Counted; reading: Reading }[] = [];
  #old: Reading[] = [];
  #refusedTotal = 0;
  #lines = 0;
  #lastLine = 0;
  #offered = 0;
  #stored = 0;
  #fromMs = Number.POSITIVE_INFINITY;
  #toMs = Number.NEGATIVE_INFINITY;

  constructor(request: ImportRequest, parts: ImportParts, series: ReadonlyMap<string, SeriesId>) {
    this.#request = request;
    this.#parts = parts;
    this.#series = series;
    this.#nowMs = parts.clock.now();
  }

  async row(row: CsvRow): Promise<void> {
    this.#count(row.line);
    const counted = this.#find(row.pointName);
    if (counted === null) {
      // Said once for the column or series, counted for every value.
      if (this.#unclaimed.has(row.pointName)) this.#refusedTotal += 1;
      else this.refuse(row.line, `${this.#nobody(row.pointName)}; none of its values is taken`);
      this.#unclaimed.add(row.pointName);
      return;
    }
    const value = canonicalValue(counted.point, row.value, row.unit);
    if (typeof value !== 'number') {
      this.refuse(row.line, `${row.pointName}: ${value.wrong}`);
      return;
    }
    if (row.atMs > this.#nowMs + aheadBoundMs || row.atMs < unsetClockMs) {
      this.refuse(row.line, `${new Date(row.atMs).toISOString()} is ${row.atMs < unsetClockMs ? 'before the year 2000: the logger\'s clock was not set' : 'in the future'}; check the time zone, the order of day and month, and the clock`);
      return;
    }
    const [low, high] = kinds[counted.point.kind].range;
    const reading: Reading = { series: counted.series, atMs: row.atMs, value, quality: value < low || value > high ? Quality.outOfRange : Quality.good };
    counted.readings += 1;
    this.#offered += 1;
    this.#fromMs = Math.min(this.#fromMs, row.atMs);
    this.#toMs = Math.max(this.#toMs, row.atMs);
    if (row.atMs >= this.#nowMs - counted.point.silentAfterMs) {
      this.#recent.push({ counted, reading });
      return;
    }
    if (counted.newestOld === null || reading.atMs > counted.newestOld.atMs) counted.newestOld = reading;
    this.#old.push(reading);
    if (this.#old.length >= chunkRows) await this.#storeOld();
  }

  refuse(line: number, reason: string): void {
    this.#count(line);
    this.#refusedTotal += 1;
    if (this.#refused.length < refusedShown) this.#refused.push({ line, reason });
  }

  async finish(): Promise<ImportReport> {
    await this.#storeOld();
    await this.#judgeRecent();
    const perPoint = [...new Set(this.#byName.values())].flatMap((counted) => (counted === null || counted.readings === 0 ? [] : [{ pointId: counted.point.id, readings: counted.readings }]));
    const report: ImportReport = {
      rowsRead: this.#lines, stored: this.#request.dryRun ? this.#offered : this.#stored, alreadyKnown: this.#request.dryRun ? 0 : this.#offered - this.#stored,
      refusedTotal: this.#refusedTotal, refused: this.#refused, span: this.#offered === 0 ? null : { fromMs: this.#fromMs, toMs: this.#toMs }, perPoint,
    };
    if (!this.#request.dryRun) await this.#journal(report);
    return report;
  }

  #count(line: number): void {
    if (line !== this.#lastLine) this.#lines += 1;
    this.#lastLine = line;
  }

  #find(name: string): Counted | null {
    const known = this.#byName.get(name);
    if (known !== undefined) return known;
    const { tankId } = this.#request;
    const point = this.#parts.fleet.points.find(({ id }) => id === name || (tankId !== null && id === `${tankId}/${name}`));
    const series = point === undefined ? undefined : this.#series.get(point.id);
    const found: Counted | null = point === undefined || series === undefined ? null
      : ([...this.#byName.values()].find((other) => other?.point === point) ?? { point, series, readings: 0, newestOld: null });
    this.#byName.set(name, found);
    return found;
  }

  #nobody(name: string): string {
    const { tankId } = this.#request;
    const ids = this.#parts.fleet.points.filter((point) => tankId === null || point.tankId === tankId).map(({ id }) => (tankId === null ? id : id.slice(tankId.length + 1)));
    const shown = ids.slice(0, 12).join(', ');
    return `"${name}" is no point${tankId === null ? '' : ` of ${tankId}`}; name the column after one of: ${shown}${ids.length > 12 ? ', …' : ''}${tankId === null ? ' (or choose the tank, then its short names do)' : ''}`;
  }

  async #storeOld(): Promise<void> {
    const old = this.#old;
    this.#old = [];
    if (!this.#request.dryRun && old.length > 0) this.#stored += await this.#parts.store.addHistory(old);
  }

  async #judgeRecent(): Promise<void> {
    if (this.#request.dryRun) return;
    const recent = this.#recent.sort((a, b) => a.reading.atMs - b.reading.atMs);
    this.#stored += await this.#countNew(recent.map(({ reading }) => reading));
    // The newest row of the history goes along, so that "last seen" is right at once; it is too old to be judged.
    const newest = [...new Set(this.#byName.values())].flatMap((counted) => (counted?.newestOld == null ? [] : [{ counted, reading: counted.newestOld }]));
    const samples = [...newest, ...recent].map(({ counted: { point }, reading }): Sample => ({ pointId: point.id, atMs: reading.atMs, value: reading.value, unit: kinds[point.kind].unit }));
    for (let at = 0; at < samples.length; at += deliveryRows) await this.#deliver(samples.slice(at, at + deliveryRows));
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
      const first = offered[0]?.atMs ?? 0;
      const last = offered.at(-1)?.atMs ?? 0;
      for (const known of await this.#parts.store.readings(series, first, last + 1)) times.delete(known.atMs);
      count += times.size;
    }
    return count;
  }

  async #deliver(samples: readonly Sample[]): Promise<void> {
    const { engine, clock } = this.#parts;
    await new Promise<void>((resolve) => {
      const offer = (): void => {
        const taken = engine.deliver({ arrivedMs: clock.now(), samples, refusals: [], committed: resolve });
        // The queue is full of live readings: they go first.
        if (!taken) void clock.sleep(50).then(offer);
      };
      offer();
    });
  }

  async #journal(report: ImportReport): Promise<void> {
    const { fileName, tankId, by } = this.#request;
    await this.#parts.store.appendJournal([{
      atMs: this.#nowMs, kind: 'import', siteId: null, tankId, alarmId: null, by,
      text: `${fileName}: ${report.stored} readings stored, ${report.alreadyKnown} known already, ${report.refusedTotal} refused`,
      detail: { fileName, rowsRead: report.rowsRead, stored: report.stored, alreadyKnown: report.alreadyKnown, refused: report.refusedTotal, span: report.span },
    }]);
  }
}
