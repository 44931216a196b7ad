/**
 * CSV files of loggers and spreadsheets, long (time, series, value[, unit]) or wide (time and one column per series), read as a stream.
 * A bad cell or line is refused with its line number and takes nothing else with it; a file that cannot be understood without being
 * told more (its order of day and month, its time zone) stops with a `CsvFileError` before anything has been read from it.
 */
import { type Delimiter, cellsOf, isMissing, trimEnd } from './csv-cells.ts';
import type { CsvInput, Encoding } from './csv-encoding.ts';
import { type ColumnRole, type CsvColumn, type CsvColumns, timeLabelOf, unreadColumns } from './csv-header.ts';
import { OPENING_RECORDS, type CsvOpening, isOpened, openCsv } from './csv-opening.ts';
import { Codes, PlainSources, PlainTimes, cutPlainLine, isPlainReadable, plainNumber } from './csv-plain.ts';
import { CsvReadings, type CsvSource } from './csv-readings.ts';
import { type CsvPiece, type CsvRecord, type PlainText, isPlain, readPieces, recordsOf } from './csv-records.ts';
import { type CsvTimeOptions, type CsvTimeReader, csvTimeReader, zoneOf } from './csv-time.ts';
import { readScalarText } from './scalar-text.ts';

export interface CsvOptions extends CsvTimeOptions {
  /** Left out: long when there are columns "series" and "value", else wide. */
  readonly layout?: 'long' | 'wide' | undefined;
  /** Left out: found from the header. */
  readonly delimiter?: Delimiter | undefined;
  /** Numbers are written 25,4. */
  readonly decimalComma?: boolean | undefined;
  /** Left out: UTF-8, or what the byte-order mark says. */
  readonly encoding?: Encoding | undefined;
  /** What columns are whose names do not say it, by label. */
  readonly roles?: ReadonlyMap<string, ColumnRole> | undefined;
}

/** One reading of the file. */
export interface CsvRow {
  /** Line of the file, from 1. */
  readonly line: number;
  /** Wide: what the header says in full, made unique. Long: the series as the row names it. */
  readonly label: string;
  /** The same without its unit. */
  readonly pointName: string;
  readonly atMs: number;
  /** A text is an on/off word. */
  readonly value: number | string;
  /** Unit the file names, if any. */
  readonly unit: string | null;
}

export interface CsvRefusal {
  readonly line: number;
  /** What is wrong and what to write instead. */
  readonly reason: string;
}

/** What one piece of the stream held. */
export interface CsvBlock {
  readonly readings: CsvReadings;
  /** The same one by one, made when asked for. */
  readonly rows: readonly CsvRow[];
  readonly refusals: readonly CsvRefusal[];
  /** Lines with data in this block, good or not. */
  readonly lines: number;
  /** Cells in which the file says that nothing was measured. */
  readonly missing: number;
  /** Cells with something in them, by column (its label; without one its place), of columns nothing is read from. */
  readonly unread: ReadonlyMap<string, number>;
}

/** The file as a whole cannot be read as it is. */
export class CsvFileError extends Error {
  override readonly name = 'CsvFileError';
  readonly line: number;
  constructor(line: number, message: string) {
    super(message);
    this.line = line;
  }
}

/**
 * @param input the text, or a stream of text or bytes.
 * @throws CsvFileError when the header makes no sense or an option is needed; its message says which and how to set it.
 */
export async function* readCsv(input: CsvInput, options: CsvOptions = {}): AsyncGenerator<CsvBlock> {
  let waiting: CsvRecord[] | null = [];
  let reader: RowReader | null = null;
  for await (const piece of readPieces(input, options.encoding)) {
    if (reader !== null) {
      yield reader.read(piece);
      continue;
    }
    waiting ??= [];
    for (const record of recordsOf(piece)) waiting.push(record);
    if (waiting.length < MANY_BLANK && waiting.filter(({ text }) => !isBlank(text)).length < OPENING_RECORDS) continue;
    reader = readerFor(waiting, options);
    const held: readonly CsvRecord[] = waiting;
    waiting = null;
    yield reader.read(held);
  }
  if (reader === null) yield readerFor(waiting ?? [], options).read(waiting ?? []);
}

/** A file that begins with more blank lines is looked at as it is. */
export const MANY_BLANK = 20_000;

export const isBlank = (text: string): boolean => /^[\s,;|]*$/.test(text);

function readerFor(records: readonly CsvRecord[], options: CsvOptions): RowReader {
  const opening = openCsv(records.filter(({ text, broken }) => broken !== null || !isBlank(text)).slice(0, OPENING_RECORDS), options);
  if (!isOpened(opening)) throw new CsvFileError(opening.line, opening.wrong);
  return new RowReader(opening, options);
}

const [COMMA, POINT] = [44, 46];

class RowReader {
  readonly #opening: CsvOpening;
  readonly #readTime: CsvTimeReader;
  readonly #mark: '.' | ',';
  readonly #plainNumber: RegExp;
  /** A time has been read: from here on one that cannot be read is the fault of its row. */
  #sure = false;
  readonly #codes = new Codes();
  readonly #edges: Int32Array;
  readonly #plainTimes = new PlainTimes();
  readonly #plainSources: PlainSources;
  /** Of the columns of a wide file. */
  readonly #wideSources: readonly (CsvSource & { readonly index: number })[];
  readonly #unread: readonly CsvColumn[];
  readonly #unreadCells: Float64Array;
  #readings = new CsvReadings();
  #refusals: CsvRefusal[] = [];
  #missing = 0;

  constructor(opening: CsvOpening, options: CsvOptions) {
    this.#opening = opening;
    this.#readTime = csvTimeReader({ ...options, timeZone: zoneOf(options, timeLabelOf(opening.columns, opening.arranged)) });
    this.#mark = options.decimalComma === true ? ',' : '.';
    this.#plainNumber = this.#mark === ',' ? /^-?\d{1,15}(,\d{1,15})?$/ : /^-?\d{1,15}(\.\d{1,15})?$/;
    const { arranged } = opening;
    this.#edges = new Int32Array(opening.header.length + 2);
    this.#plainSources = new PlainSources(arranged.layout === 'long' ? arranged.valueUnit : null);
    this.#unread = unreadColumns(opening.columns, arranged);
    this.#unreadCells = new Float64Array(this.#unread.length);
    this.#wideSources = arranged.layout === 'wide' ? arranged.series.map(({ index, label, name, unit }) => ({ index, label, pointName: name, unit })) : [];
  }

  read(piece: CsvPiece): CsvBlock {
    const readings = new CsvReadings();
    this.#readings = readings;
    this.#refusals = [];
    this.#missing = 0;
    this.#unreadCells.fill(0);
    let lines = 0;
    if (isPlain(piece) && isPlainReadable && this.#opening.arranged.time.second === null) lines = this.#plainText(piece);
    else for (const record of recordsOf(piece)) if (this.#record(record)) lines += 1;
    return { readings, get rows() { return readings.rows(); }, refusals: this.#refusals, lines, missing: this.#missing, unread: this.#unreadByColumn() };
  }

  #unreadByColumn(): ReadonlyMap<string, number> {
    return new Map(this.#unread.flatMap(({ label, index }, at) => {
      const cells = this.#unreadCells[at] ?? 0;
      return cells === 0 ? [] : [[/^(#\d+)?$/.test(label.trim()) ? `column ${index + 1}` : label, cells] as const];
    }));
  }

  #countUnread(at: number, raw: string): void {
    if (!isMissing(raw.trim())) this.#unreadCells[at] = (this.#unreadCells[at] ?? 0) + 1;
  }

  /** @returns how many lines hold data. */
  #plainText({ text, line: firstLine }: PlainText): number {
    const codes = this.#codes.of(text);
    let lines = 0;
    let line = firstLine;
    for (let start = 0; start < text.length; line += 1) {
      const end = this.#plainLine(codes, text, start, line);
      if (end > 0) {
        lines += 1;
        start = end + 1;
        continue;
      }
      const feed = text.indexOf('\n', start);
      if (this.#record({ line, text: text.slice(start, feed), broken: null })) lines += 1;
      start = feed + 1;
    }
    return lines;
  }

  /**
   * A line with a plain time in it is behind the header, no repetition of it, no row of units and not blank: none of these holds a time.
   * @returns where the line ends; −1, and nothing has been done, when it must go the long way.
   */
  #plainLine(codes: Uint16Array, text: string, start: number, line: number): number {
    const { arranged, header, delimiter } = this.#opening;
    const edges = this.#edges;
    const width = header.length;
    if (cutPlainLine(codes, start, delimiter.charCodeAt(0), edges) !== width) return -1;
    const end = (edges[width] ?? 0) - 1;
    const time = arranged.time.first;
    const atMs = this.#plainTimes.read(codes, text, edges[time] ?? 0, (edges[time + 1] ?? 0) - 1);
    if (Number.isNaN(atMs)) return -1;
    if (arranged.layout === 'long') {
      const { series, unit, value } = arranged;
      const source = this.#plainSources.find(codes, text, edges[series] ?? 0, (edges[series + 1] ?? 0) - 1, unit === null ? 0 : (edges[unit] ?? 0), unit === null ? 0 : (edges[unit + 1] ?? 0) - 1);
      if (source === null) return -1;
      this.#plainCell(codes, text, line, source, edges[value] ?? 0, (edges[value + 1] ?? 0) - 1, atMs);
    } else {
      for (const source of this.#wideSources) this.#plainCell(codes, text, line, source, edges[source.index] ?? 0, (edges[source.index + 1] ?? 0) - 1, atMs);
    }
    for (let at = 0; at < this.#unread.length; at += 1) {
      const index = this.#unread[at]?.index ?? 0;
      const from = edges[index] ?? 0;
      const to = (edges[index + 1] ?? 0) - 1;
      if (to > from) this.#countUnread(at, text.slice(from, to));
    }
    this.#sure = true;
    return end;
  }

  #plainCell(codes: Uint16Array, text: string, line: number, source: CsvSource, start: number, end: number, atMs: number): void {
    const value = plainNumber(codes, start, end, this.#mark === ',' ? COMMA : POINT);
    if (!Number.isNaN(value)) this.#readings.push(line, source, atMs, value);
    else if (start === end) this.#missing += 1;
    else this.#cell(line, source.label, source.pointName, text.slice(start, end), source.unit, atMs);
  }

  /** @returns whether the line holds data. */
  #record({ line, text, broken }: CsvRecord): boolean {
    const { delimiter, header, headerLine, units } = this.#opening;
    if (line <= headerLine || text === units?.text) return false;
    if (broken === null && isBlank(text)) return false;
    const cells = broken === null ? cellsOf(text, delimiter) : null;
    if (cells === null) {
      this.#refuse(line, broken ?? 'the quotes in this line make no sense; a quote within a quoted cell is doubled');
      return true;
    }
    if (cells[0]?.trim() === header[0] && header.every((name, index) => cells[index]?.trim() === name)) return false;
    const wrong = countProblem(cells, header);
    if (wrong === null) this.#cells(line, cells);
    else this.#refuse(line, wrong);
    return true;
  }

  #cells(line: number, cells: readonly string[]): void {
    const { arranged: columns } = this.#opening;
    const name = columns.layout === 'long' ? (cells[columns.series]?.trim() ?? '') : '';
    const time = this.#readTime(timeText(cells, columns), name);
    if (!time.ok) {
      if (!this.#sure && time.missing !== undefined) throw new CsvFileError(line, time.reason);
      this.#refuse(line, time.reason);
      return;
    }
    this.#sure = true;
    for (const [at, { index }] of this.#unread.entries()) this.#countUnread(at, cells[index] ?? '');
    if (columns.layout === 'long') {
      const unit = columns.unit === null ? '' : (cells[columns.unit]?.trim() ?? '');
      this.#cell(line, name, name, cells[columns.value] ?? '', unit === '' ? columns.valueUnit : unit, time.atMs);
      return;
    }
    for (const { index, label, name: pointName, unit } of columns.series) this.#cell(line, label, pointName, cells[index] ?? '', unit, time.atMs);
  }

  #cell(line: number, label: string, pointName: string, raw: string, unit: string | null, atMs: number): void {
    const text = raw.trim();
    // The common case first. `+ 0` turns -0 into 0.
    if (pointName !== '' && this.#plainNumber.test(text)) {
      this.#readings.push(line, { label, pointName, unit }, atMs, Number(this.#mark === ',' ? text.replace(',', '.') : text) + 0);
      return;
    }
    if (isMissing(text)) {
      this.#missing += 1;
      return;
    }
    if (pointName === '') {
      this.#refuse(line, 'the series is missing: the line has a value but no name');
      return;
    }
    const read = readScalarText(text, this.#mark);
    if (read.ok && typeof read.value === 'number') this.#readings.push(line, { label, pointName, unit: read.unit ?? unit }, atMs, read.value);
    else if (read.ok) this.#readings.pushWord(line, { label, pointName, unit: read.unit ?? unit }, atMs, String(read.value));
    else this.#refuse(line, `${pointName}: ${/^[+-]?\d*,\d+$/.test(text) && this.#mark === '.' ? `"${text}" has a decimal comma; say that the file uses decimal commas` : `the value ${read.reason}`}`);
  }

  #refuse(line: number, reason: string): void {
    this.#refusals.push({ line, reason });
  }
}

function countProblem(cells: readonly string[], header: readonly string[]): string | null {
  // A line cut short may end in half a number: better none than a wrong one.
  if (cells.length < header.length) return `the line has ${cells.length} cells, the header ${header.length}; was the file cut off here?`;
  if (cells.length === header.length) return null;
  const extra = trimEnd(cells).length;
  return extra > header.length ? `the line has ${extra} cells, the header ${header.length}; a value with the separator in it must stand in quotes` : null;
}

export function timeText(cells: readonly string[], { time }: CsvColumns): string {
  const first = cells[time.first] ?? '';
  return time.second === null ? first : `${first.trim()} ${(cells[time.second] ?? '').trim()}`;
}
