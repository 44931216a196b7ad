/** Where CSV files are handed in: looked at, put in line, imported one at a time, and reported on. */
import { Readable } from 'node:stream';
import { type CsvChoices, csvOptionsOf, mergeChoices, noChoices, readChoices, roleTargets } from '../../adapters/csv-choices.ts';
import { type CsvLook, type LookSeries, lookAtCsv, openingOf } from '../../adapters/csv-look.ts';
import { beginningOf } from '../../adapters/csv-beginning.ts';
import { splitUnit } from '../../adapters/csv-header.ts';
import { readScalarText } from '../../adapters/scalar-text.ts';
import type { Clock } from '../clock.ts';
import { DAY } from '../domain/duration.ts';
import type { Fleet, Point } from '../domain/fleet.ts';
import { canonicalValue } from '../ingest/intake.ts';
import type { Logger } from '../log.ts';
import type { HistoryReader, HistoryWriter, ImportMemoryStore, LiveStore } from '../store/contract.ts';
import type { EngineFace } from './contract.ts';
import type { ImportDesk, ImportFile, ImportJob, ImportLook, ImportProgress, ImportReport, ImportRequest, LookColumn, LookRow, NotReadable, RejectedSink } from './import-contract.ts';
import { type FileColumn, destinationOf, pointsFor, proposals } from './import-mapping.ts';
import { ImportRun, zoneFor } from './import-run.ts';

export interface DeskParts {
  readonly store: HistoryWriter & Pick<HistoryReader, 'readings'> & Pick<LiveStore, 'seriesFor'> & ImportMemoryStore;
  readonly engine: EngineFace;
  readonly fleet: () => Fleet;
  readonly clock: Clock;
  readonly log: Logger;
}

const MAX_WAITING = 8;
/** Ended jobs kept to be looked at. */
const KEPT_JOBS = 20;
export const KEPT_JOB_MS = DAY;

export function importDesk(parts: DeskParts): ImportDesk {
  const jobs: Job[] = [];
  let running: Promise<void> | null = null;
  let stopped = false;

  async function runAll(): Promise<void> {
    for (let next = waiting(); next !== undefined; next = waiting()) await next.run();
    running = null;
  }

  const waiting = (): Job | undefined => jobs.find((job) => job.progress().state === 'waiting');

  function forget(): void {
    const oldestMs = parts.clock.now() - KEPT_JOB_MS;
    const ended = jobs.filter((job) => job.progress().endedMs !== null);
    const gone = new Set(ended.filter((job, index) => index < ended.length - KEPT_JOBS || job.askedMs < oldestMs));
    for (let at = jobs.length - 1; at >= 0; at -= 1) if (gone.has(jobs[at] as Job)) jobs.splice(at, 1);
  }

  return {
    look: (request) => look(request, parts),
    start(request, rejected) {
      forget();
      if (stopped || jobs.filter((job) => job.progress().state === 'waiting').length >= MAX_WAITING) return null;
      const known = jobs.find(({ id }) => id === request.id);
      if (known !== undefined) return known;
      const job = new Job(request, rejected, parts);
      jobs.push(job);
      running ??= runAll();
      return job;
    },
    jobs() {
      forget();
      return [...jobs].reverse();
    },
    job: (id) => jobs.find((job) => job.id === id) ?? null,
    async stop() {
      stopped = true;
      for (const job of jobs) job.cancel('tankbell, which was stopped');
      await running;
    },
  };
}

class Job implements ImportJob {
  readonly id: string;
  readonly fileName: string;
  readonly bytes: number;
  readonly tankId: string | null;
  readonly by: string;
  readonly askedMs: number;
  readonly ended: Promise<ImportProgress>;
  readonly #request: ImportRequest;
  readonly #rejected: RejectedSink;
  readonly #parts: DeskParts;
  #end: (progress: ImportProgress) => void = () => undefined;
  #run: ImportRun | null = null;
  #state: ImportProgress['state'] = 'waiting';
  #endedMs: number | null = null;
  #problem: string | null = null;
  #cancelledBy: string | null = null;

  constructor(request: ImportRequest, rejected: RejectedSink, parts: DeskParts) {
    this.id = request.id;
    this.fileName = request.file.name;
    this.bytes = request.file.bytes;
    this.tankId = request.tankId;
    this.by = request.by;
    this.askedMs = parts.clock.now();
    this.#request = request;
    this.#rejected = rejected;
    this.#parts = parts;
    this.ended = new Promise((resolve) => {
      this.#end = resolve;
    });
  }

  progress(): ImportProgress {
    return { state: this.#state, bytesRead: this.#run?.bytesRead ?? 0, endedMs: this.#endedMs, report: this.#run?.report() ?? emptyReport, problem: this.#problem };
  }

  cancel(by: string): void {
    if (this.#endedMs !== null) return;
    this.#cancelledBy ??= by;
    this.#run?.cancel();
    // It never ran: nobody else will end it.
    if (this.#state === 'waiting') this.#finish('cancelled', `cancelled by ${by} before it began`);
  }

  /** Never rejects. */
  async run(): Promise<void> {
    const { store, clock, log, fleet: currentFleet } = this.#parts;
    const { file, tankId } = this.#request;
    this.#state = 'running';
    try {
      const fleet = currentFleet();
      const { choices, key } = await rememberedChoices(this.#request, fleet, store);
      this.#run = new ImportRun({ file, tankId, choices, fleet, dryRun: false, rejected: this.#rejected }, this.#parts);
      if (this.#cancelledBy !== null) this.#run.cancel();
      const end = await this.#run.run();
      const report = this.#run.report();
      if (end.end === 'done' && key !== null && report.perPoint.length > 0) await store.rememberImport({ headerKey: key, tankId, choices, savedMs: clock.now(), by: this.by });
      const problem = end.end === 'failed' ? end.problem : end.end === 'cancelled' ? `cancelled by ${this.#cancelledBy ?? 'somebody'}` : null;
      await this.#journal(report, problem);
      this.#finish(end.end, problem);
    } catch (error) {
      log.error({ err: error, file: file.name }, 'an import failed');
      this.#finish('failed', `stopped: ${error instanceof Error ? error.message : String(error)}. What was stored until then stays; the log of the service says more`);
    }
  }

  #finish(state: 'done' | 'cancelled' | 'failed', problem: string | null): void {
    this.#state = state;
    this.#problem = problem;
    this.#endedMs = this.#parts.clock.now();
    this.#end(this.progress());
  }

  async #journal(report: ImportReport, problem: string | null): Promise<void> {
    const counts = `${report.stored} readings stored, ${report.alreadyKnown} known already, ${report.refusedTotal} refused${report.leftOutTotal === 0 ? '' : `, ${report.leftOutTotal} left out`}`;
    await this.#parts.store.appendJournal([{
      atMs: this.#parts.clock.now(), kind: 'import', siteId: null, tankId: this.tankId, alarmId: null, by: this.by,
      text: `${this.fileName}: ${counts}${problem === null ? '' : `; ${problem}`}`,
      detail: {
        fileName: this.fileName, rowsRead: report.rowsRead, stored: report.stored, alreadyKnown: report.alreadyKnown, refused: report.refusedTotal, span: report.span, problem,
        columns: report.perPoint.map(({ label, pointId, readings }) => ({ label, pointId, readings })),
        leftOut: report.leftOut,
      },
    }]);
  }
}

const emptyReport: ImportReport = { rowsRead: 0, stored: 0, alreadyKnown: 0, refusedTotal: 0, refused: [], missing: 0, span: null, perPoint: [], leftOut: [], leftOutTotal: 0 };

/** What an import of this file goes by: what is said, filled in from what was said about such a file before, if that is wanted. */
async function rememberedChoices(request: ImportRequest, fleet: Fleet, store: ImportMemoryStore): Promise<{ choices: CsvChoices; key: string | null; remembered: ImportLook['remembered'] }> {
  const { file, tankId } = request;
  const opening = await openingOf(file.open(), csvOptionsOf(request.choices, zoneFor(fleet, tankId)));
  if (opening === null) return { choices: request.choices, key: null, remembered: null };
  const memory = request.useMemory ? await store.importMemory(opening.key, tankId) : null;
  const kept = memory === null ? null : readChoices(memory.choices);
  if (memory === null || kept === null) return { choices: request.choices, key: opening.key, remembered: null };
  // Points may have gone since.
  const points = new Set(pointsFor(fleet, tankId).map(({ id }) => id));
  const valid = kept.columns.filter(({ target }) => roleTargets.some((role) => role === target) || points.has(target) || points.has(`${tankId ?? ''}/${target}`));
  return { choices: mergeChoices(request.choices, { ...kept, columns: valid }), key: opening.key, remembered: { by: memory.by, savedMs: memory.savedMs } };
}

async function look(request: ImportRequest, parts: DeskParts): Promise<ImportLook | NotReadable> {
  const { tankId, lookBytes } = request;
  const fleet = parts.fleet();
  const { choices, remembered } = await rememberedChoices(request, fleet, parts.store);
  const zone = zoneFor(fleet, tankId);
  const isPart = lookBytes !== null && request.file.bytes > lookBytes;
  const file = isPart ? beginning(request.file, lookBytes, choices) : request.file;
  const found = await lookAtCsv(file.open(), csvOptionsOf(choices, zone));
  if ('wrong' in found) return found;
  const points = pointsFor(fleet, tankId);
  const columns = lookColumns(found, choices, points, tankId);
  const said = new Set(choices.columns.map(({ label }) => label));
  const filled: CsvChoices = {
    ...choices, columns: columns.flatMap(({ label, target, chosenUnit, isProposal }) => (target === null || (isProposal && !request.propose && !said.has(label)) ? [] : [{ label, target, unit: chosenUnit }])),
  };
  let report: ImportReport | null = null;
  if (!found.questions.some(({ needed }) => needed)) {
    const run = new ImportRun({ file, tankId, choices: filled, fleet, dryRun: true, rejected: async () => undefined }, parts);
    const end = await run.run();
    if (end.end === 'failed') return { line: found.opening.headerLine, wrong: end.problem };
    report = run.report();
  }
  const { opening } = found;
  return {
    headerLine: opening.headerLine, above: opening.above, unitsLine: opening.units?.line ?? null, delimiter: opening.delimiter, layout: found.columns?.layout ?? null,
    timeZone: found.timeZone, choices: filled, columns, questions: found.questions, remembered, points, report,
    preview: found.preview.map((row) => previewRow(row, columns, filled, points, tankId)),
    lookedAt: isPart ? { bytes: lookBytes, ofBytes: request.file.bytes } : null,
  };
}

function beginning(file: ImportFile, bytes: number, { encoding }: CsvChoices): ImportFile {
  return { ...file, bytes, open: () => Readable.from(beginningOf(file.open(), bytes, encoding ?? undefined)) };
}

function lookColumns(found: CsvLook, choices: CsvChoices, points: readonly Point[], tankId: string | null): readonly LookColumn[] {
  const { columns, opening, samples } = found;
  const roleOf = (index: number): string | null => {
    if (columns === null) return opening.columns[index]?.label === found.timeLabel ? '@time' : null;
    if (index === columns.time.first) return columns.time.second === null ? '@time' : '@date';
    if (index === columns.time.second) return '@time-of-day';
    if (columns.layout === 'wide') return null;
    return index === columns.series ? '@series' : index === columns.value ? '@value' : index === columns.unit ? '@unit' : '@skip';
  };
  const rows: (FileColumn & { readonly samples: readonly string[]; readonly role: string | null; readonly isColumn: boolean })[] = [
    ...opening.columns.filter(({ label }) => label !== '').map((column) => ({ ...column, samples: samples[column.index] ?? [], role: roleOf(column.index), isColumn: true })),
    ...found.series.map((one: LookSeries) => ({ label: one.name, name: splitUnit(one.name).name, unit: one.unit, samples: one.samples, role: null, isColumn: false })),
  ];
  const said = (label: string) => choices.columns.find((one) => one.label === label);
  const open = rows.filter(({ label, role }) => role === null && said(label) === undefined);
  const free = points.filter(({ id }) => !choices.columns.some(({ target }) => target === id));
  const proposed = proposals(open, free, tankId);
  return rows.map(({ label, name, unit, samples: examples, role, isColumn }): LookColumn => {
    const own = said(label) ?? choices.columns.find((one) => one.label === name);
    const proposal = own === undefined && role === null ? proposed.get(label) : undefined;
    const target = own?.target ?? role ?? proposal?.point.id ?? null;
    const why = own !== undefined ? null : role !== null ? (columns === null ? 'its cells look like times' : 'its name says so') : (proposal?.why ?? null);
    const full = target === null || target.startsWith('@') ? target : (points.find(({ id }) => id === target || id === `${tankId ?? ''}/${target}`)?.id ?? target);
    const chosenUnit = own?.unit ?? null;
    return { label, unit, samples: examples, target: full, chosenUnit, why, isColumn, isProposal: proposal?.isSure === false, problem: problemOf({ label, name, unit }, full, chosenUnit, points, tankId) };
  }).map((column, _index, all) => {
    const rival = column.target === null || column.target.startsWith('@') ? undefined : all.find((other) => other.label !== column.label && other.target === column.target && other.isColumn && column.isColumn);
    return rival === undefined ? column : { ...column, problem: column.problem ?? `"${rival.label}" goes to the same point` };
  });
}

function problemOf(column: FileColumn, target: string | null, unit: string | null, points: readonly Point[], tankId: string | null): string | null {
  if (target === null || target.startsWith('@')) return null;
  const destination = destinationOf(column, { ...noChoices, columns: [{ label: column.label, target, unit }] }, points, tankId);
  if (destination.kind === 'nowhere') return destination.why;
  if (destination.kind !== 'point' || unit !== null || column.unit === null) return null;
  const tried = canonicalValue(destination.point, destination.point.kind === 'switch' ? 'on' : 1, column.unit);
  return typeof tried === 'number' ? null : tried.wrong;
}



function previewRow(row: CsvLook['preview'][number], columns: readonly LookColumn[], choices: CsvChoices, points: readonly Point[], tankId: string | null): LookRow {
  const values = row.cells.flatMap(({ label, text }): LookRow['values'] => {
    const column = columns.find((one) => one.label === label && (one.target === null || !one.target.startsWith('@')));
    if (column === undefined) return [];
    const destination = destinationOf({ label, name: splitUnit(label).name, unit: column.unit }, choices, points, tankId);
    if (destination.kind !== 'point') return [];
    const read = readScalarText(text, choices.decimalComma ? ',' : '.');
    const value = read.ok ? canonicalValue(destination.point, read.value, destination.unit ?? read.unit ?? column.unit) : { wrong: `the value ${read.reason}` };
    return [{ label, text, pointId: destination.point.id, ...(typeof value === 'number' ? { value, wrong: null } : { value: null, wrong: value.wrong }) }];
  });
  return { line: row.line, time: row.time, atMs: row.atMs, why: row.why, values };
}
