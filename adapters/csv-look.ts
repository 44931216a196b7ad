/**
 * A look at a CSV file before anything of it is kept: its columns with examples, its first rows as they would be read, and what has to be
 * asked, each with the cell that raises the question. Reads all that it is given, so that a date that proves the order of all others is found
 * wherever it stands; proves, but never decides.
 */
import { type CsvOptions, MANY_BLANK, isBlank, timeText } from './csv.ts';
import { cellsOf, isMissing } from './csv-cells.ts';
import type { CsvInput } from './csv-encoding.ts';
import { type CsvColumn, type CsvColumns, splitUnit, timeLabelOf } from './csv-header.ts';
import { OPENING_RECORDS, type CsvOpening, isOpened, openCsv } from './csv-opening.ts';
import { type CsvRecord, readRecordBlocks } from './csv-records.ts';
import { type CsvTimeReader, csvTimeReader, openDate, zoneOf } from './csv-time.ts';
import { readSerialTime } from './csv-spreadsheet-time.ts';

export interface CsvLook {
  readonly opening: Omit<CsvOpening, 'arranged'>;
  /** `null`: it is not known yet which column is the time. */
  readonly columns: CsvColumns | null;
  /** Column that looks like the time although its name does not say so. */
  readonly timeLabel: string | null;
  /** Zone in which times without one are read; `null`: nobody has said. */
  readonly timeZone: string | null;
  /** Examples of each column, by its index. */
  readonly samples: readonly (readonly string[])[];
  /** Long files: the series found, at most `MAX_SERIES`. */
  readonly series: readonly LookSeries[];
  readonly questions: readonly CsvQuestion[];
  readonly preview: readonly PreviewRow[];
}

export interface LookSeries {
  readonly name: string;
  readonly unit: string | null;
  readonly samples: readonly string[];
}

/** Something that has to be said about the file before it can be read. */
export interface CsvQuestion {
  readonly option: 'dateOrder' | 'timeZone' | 'timeFormat' | 'decimalComma' | 'overlap' | 'timeColumn';
  readonly line: number;
  /** The cell that raises it. */
  readonly text: string;
  /** Lines concerned, as far as counted. */
  readonly lines: number;
  /** What the file itself proves, with the line that proves it. It is offered, not taken. */
  readonly proof: { readonly value: string; readonly line: number; readonly text: string } | null;
  /** Lines that contradict each other, or a likely answer that nothing proves. */
  readonly remark: string | null;
  /** Without an answer nothing can be read; otherwise only the lines concerned are refused. */
  readonly needed: boolean;
}

export interface PreviewRow {
  readonly line: number;
  /** Time as written. */
  readonly time: string;
  readonly atMs: number | null;
  /** Why there is no time. */
  readonly why: string | null;
  /** By label (long: by series), cells with something in them. */
  readonly cells: readonly { readonly label: string; readonly text: string }[];
}

const PREVIEW_ROWS = 8;
const SAMPLES = 3;
const MAX_SERIES = 200;

export type LookResult = CsvLook | { readonly line: number; readonly wrong: string };

/** @returns what the file is, or why it cannot be opened at all. */
export async function lookAtCsv(input: CsvInput, options: CsvOptions = {}): Promise<LookResult> {
  let waiting: CsvRecord[] | null = [];
  let looker: Looker | null = null;
  for await (const records of readRecordBlocks(input, options.encoding)) {
    if (looker !== null) {
      looker.look(records);
      continue;
    }
    waiting ??= [];
    for (const record of records) waiting.push(record);
    if (waiting.length < MANY_BLANK && waiting.filter(({ text }) => !isBlank(text)).length < OPENING_RECORDS) continue;
    const made = lookerFor(waiting, options);
    if ('wrong' in made) return made;
    looker = made;
    looker.look(waiting);
    waiting = null;
  }
  if (looker === null) {
    const made = lookerFor(waiting ?? [], options);
    if ('wrong' in made) return made;
    looker = made;
    looker.look(waiting ?? []);
  }
  return looker.result();
}

/** Only the beginning: what the header is, for finding what was said about such files before. */
export async function openingOf(input: CsvInput, options: CsvOptions = {}): Promise<Pick<CsvOpening, 'key' | 'headerLine'> | null> {
  const first: CsvRecord[] = [];
  for await (const records of readRecordBlocks(input, options.encoding)) {
    for (const record of records) if (record.broken !== null || !isBlank(record.text)) first.push(record);
    if (first.length >= OPENING_RECORDS) break;
  }
  const opening = openCsv(first.slice(0, OPENING_RECORDS), options);
  return isOpened(opening) ? opening : opening.found;
}

function lookerFor(records: readonly CsvRecord[], options: CsvOptions): Looker | { readonly line: number; readonly wrong: string } {
  const opening = openCsv(records.filter(({ text, broken }) => broken !== null || !isBlank(text)).slice(0, OPENING_RECORDS), options);
  if (isOpened(opening)) return new Looker(opening, opening.arranged, null, options);
  if (opening.found === null) return opening;
  const { timeLabel, ...found } = opening.found;
  return new Looker(found, null, timeLabel, options);
}

class Looker {
  readonly #opening: Omit<CsvOpening, 'arranged'>;
  readonly #columns: CsvColumns | null;
  readonly #timeLabel: string | null;
  readonly #options: CsvOptions;
  readonly #timeZone: string | undefined;
  readonly #readTime: CsvTimeReader;
  readonly #samples: string[][];
  readonly #series = new Map<string, { name: string; unit: string | null; samples: string[] }>();
  readonly #preview: PreviewRow[] = [];
  readonly #order = new DateOrderEvidence();
  readonly #seen = new Map<CsvQuestion['option'], { line: number; text: string; lines: number }>();

  constructor(opening: Omit<CsvOpening, 'arranged'>, columns: CsvColumns | null, timeLabel: string | null, options: CsvOptions) {
    this.#opening = opening;
    this.#columns = columns;
    this.#timeLabel = timeLabel;
    this.#options = options;
    this.#timeZone = zoneOf(options, columns === null ? (timeLabel ?? '') : timeLabelOf(opening.columns, columns));
    this.#readTime = csvTimeReader({ ...options, timeZone: this.#timeZone });
    this.#samples = opening.columns.map(() => []);
  }

  look(records: readonly CsvRecord[]): void {
    const { headerLine, units, delimiter, header } = this.#opening;
    for (const { line, text, broken } of records) {
      if (line <= headerLine || broken !== null || isBlank(text) || text === units?.text) continue;
      const cells = cellsOf(text, delimiter);
      if (cells === null || cells.length < header.length || header.every((name, index) => cells[index]?.trim() === name)) continue;
      this.#row(line, cells);
    }
  }

  result(): CsvLook {
    return {
      opening: this.#opening, columns: this.#columns, timeLabel: this.#timeLabel, timeZone: this.#timeZone ?? null, samples: this.#samples, series: [...this.#series.values()], questions: this.#questions(), preview: this.#preview,
    };
  }

  #row(line: number, cells: readonly string[]): void {
    for (const [index, samples] of this.#samples.entries()) {
      const cell = cells[index]?.trim() ?? '';
      if (samples.length < SAMPLES && !isMissing(cell)) samples.push(cell.slice(0, 40));
    }
    const columns = this.#columns;
    if (columns === null) return;
    const written = timeText(cells, columns).trim();
    const name = columns.layout === 'long' ? (cells[columns.series]?.trim() ?? '') : '';
    const read = this.#readTime(written, name);
    this.#order.see(line, written);
    if (!read.ok && read.missing !== undefined) this.#note(read.missing, line, written);
    if (!read.ok && read.change === 'overlap') this.#note('overlap', line, written);
    for (const { index, label } of this.#valueColumns(columns, name)) {
      const text = cells[index]?.trim() ?? '';
      if (this.#options.decimalComma !== true && /^[+-]?\d+,\d+$/.test(text)) this.#note('decimalComma', line, text);
      if (columns.layout === 'long') this.#seeSeries(label, columns.unit === null ? '' : (cells[columns.unit]?.trim() ?? ''), columns.valueUnit, text);
    }
    if (this.#preview.length >= PREVIEW_ROWS) return;
    const kept = this.#valueColumns(columns, name).map(({ index, label }) => ({ label, text: cells[index]?.trim() ?? '' })).filter(({ text }) => !isMissing(text));
    this.#preview.push({ line, time: written, atMs: read.ok ? read.atMs : null, why: read.ok ? null : read.reason, cells: kept });
  }

  #valueColumns(columns: CsvColumns, name: string): readonly Pick<CsvColumn, 'index' | 'label'>[] {
    return columns.layout === 'wide' ? columns.series : [{ index: columns.value, label: name }];
  }

  #seeSeries(name: string, unit: string, fallback: string | null, text: string): void {
    const known = this.#series.get(name);
    if (known === undefined) {
      if (name !== '' && this.#series.size < MAX_SERIES) this.#series.set(name, { name, unit: unit === '' ? (fallback ?? splitUnit(name).unit) : unit, samples: isMissing(text) ? [] : [text] });
    } else if (known.samples.length < SAMPLES && !isMissing(text)) {
      known.samples.push(text.slice(0, 40));
    }
  }

  #note(option: CsvQuestion['option'], line: number, text: string): void {
    const known = this.#seen.get(option);
    if (known === undefined) this.#seen.set(option, { line, text: text.slice(0, 60), lines: 1 });
    else known.lines += 1;
  }

  #questions(): readonly CsvQuestion[] {
    const ask = (option: CsvQuestion['option'], more: Partial<CsvQuestion> = {}): CsvQuestion[] => {
      const seen = this.#seen.get(option);
      return seen === undefined ? [] : [{ option, ...seen, proof: null, remark: null, needed: true, ...more }];
    };
    const { headerLine, header } = this.#opening;
    // The order of dates is asked for before the zone is: nobody can say anything about a time that cannot be read.
    return [
      ...(this.#columns === null ? [{ option: 'timeColumn' as const, line: headerLine, text: this.#timeLabel ?? header.join(' | ').slice(0, 60), lines: 1, proof: null, remark: null, needed: true }] : []),
      ...ask('dateOrder', this.#order.verdict()),
      ...ask('timeFormat', { remark: likelyFormat(this.#seen.get('timeFormat')?.text ?? '') }),
      ...ask('timeZone'),
      ...ask('decimalComma', { needed: false }),
      ...ask('overlap', { needed: false }),
    ];
  }
}

/** A day above 12 anywhere proves the order of all dates beside it. */
class DateOrderEvidence {
  #first: { readonly line: number; readonly text: string } | null = null;
  #second: { readonly line: number; readonly text: string } | null = null;

  see(line: number, text: string): void {
    if (this.#first !== null && this.#second !== null) return;
    const parts = openDate(text);
    // With two digits for the year, a first part above 12 could be the year as well.
    if (parts === null || parts[2].length !== 4) return;
    if (Number(parts[0]) > 12) this.#first ??= { line, text };
    if (Number(parts[1]) > 12) this.#second ??= { line, text };
  }

  verdict(): Pick<CsvQuestion, 'proof' | 'remark'> {
    if (this.#first !== null && this.#second !== null) {
      return { proof: null, remark: `both orders occur: ${this.#first.text} in line ${this.#first.line}, ${this.#second.text} in line ${this.#second.line}` };
    }
    if (this.#first !== null) return { proof: { value: 'dmy', ...this.#first }, remark: null };
    return this.#second === null ? { proof: null, remark: 'no date that was looked at has a day above 12, so nothing proves it' } : { proof: { value: 'mdy', ...this.#second }, remark: null };
  }
}

/** What a bare number would be in each format, where that lies within 2000 and 2100. */
function likelyFormat(text: string): string | null {
  const value = Number(text);
  const readings = ([['s', value * 1000], ['ms', value]] as const).flatMap(([format, atMs]) => (isPlausible(atMs) ? [`as ${format} it is ${new Date(atMs).toISOString()}`] : []));
  const serial = readSerialTime(text);
  if (serial.ok && isPlausible(serial.wallMs)) readings.push(`as a spreadsheet date it is ${new Date(serial.wallMs).toISOString().slice(0, 19).replace('T', ' ')}`);
  return readings.length === 0 ? null : readings.join('; ');
}

const isPlausible = (atMs: number): boolean => atMs >= Date.UTC(2000, 0, 1) && atMs < Date.UTC(2100, 0, 1);
