/**
 * CSV files of loggers and spreadsheets, long (time, series, value[, unit]) or wide (time and one column per series), read as a stream.
 * A bad cell or line is refused with its line number and takes nothing else with it; a file that cannot be understood without being
 * told more (its order of day and month, its time zone) stops with a `CsvFileError` before anything has been read from it.
 */
import Papa from 'papaparse';
import { type CsvColumns, readHeader } from './csv-header.ts';
import { type CsvInput, type CsvRecord, readRecords } from './csv-records.ts';
import { type CsvTime, type CsvTimeOptions, csvTimeReader } from './csv-time.ts';
import { readScalarText } from './scalar-text.ts';

export interface CsvOptions extends CsvTimeOptions {
  /** Left out: long when there are columns "series" and "value", else wide. */
  readonly layout?: 'long' | 'wide' | undefined;
  /** Left out: found from the header. */
  readonly delimiter?: ',' | ';' | '\t' | undefined;
  /** Numbers are written 25,4. */
  readonly decimalComma?: boolean | undefined;
  readonly encoding?: 'utf-8' | 'windows-1252' | undefined;
}

/** One reading of the file. `line` is the line of the file, from 1. */
export interface CsvRow {
  readonly line: number;
  /** The series as the file calls it. */
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

/** The file as a whole cannot be read as it is. */
export class CsvFileError extends Error {
  override readonly name = 'CsvFileError';
  readonly line: number;
  constructor(line: number, message: string) {
    super(message);
    this.line = line;
  }
}

export const isCsvRow = (item: CsvRow | CsvRefusal): item is CsvRow => 'atMs' in item;

/**
 * @param input the text, or a stream of text or bytes.
 * @throws CsvFileError when the header makes no sense or an option is needed; its message says which and how to set it.
 */
export async function* readCsv(input: CsvInput, options: CsvOptions = {}): AsyncGenerator<CsvRow | CsvRefusal> {
  const readTime = csvTimeReader(options);
  let file: { readonly delimiter: string; readonly header: readonly string[]; readonly columns: CsvColumns } | null = null;
  let sure = false;
  for await (const record of readRecords(input, options.encoding ?? 'utf-8')) {
    if (/^[\s,;]*$/.test(record.text)) continue;
    if (file === null) {
      file = openFile(record, options);
      continue;
    }
    const { delimiter, header, columns } = file;
    const cells = record.unclosed ? null : fieldsOf(record.text, delimiter);
    if (cells === null) {
      yield { line: record.line, reason: 'a quote (") opens in this line and never closes; remove it, or double it within a quoted cell' };
      continue;
    }
    if (header.every((name, index) => cells[index]?.trim() === name)) continue;
    const wrong = countProblem(cells, header);
    if (wrong !== null) {
      yield { line: record.line, reason: wrong };
      continue;
    }
    const time = readTime(timeText(cells, columns));
    if (!sure && !time.ok && time.missing !== undefined) throw new CsvFileError(record.line, time.reason);
    sure ||= time.ok;
    yield* readCells(record.line, cells, columns, time, options.decimalComma === true ? ',' : '.');
  }
  if (file === null) throw new CsvFileError(1, 'the file is empty; its first line must name the columns, one of them "time"');
}

function openFile(record: CsvRecord, options: CsvOptions) {
  // UTF-16 shows as zero bytes, another 8-bit encoding as replacement characters.
  if (/\0/.test(record.text)) throw new CsvFileError(record.line, 'the file is not UTF-8 text (UTF-16, perhaps); save it as "CSV UTF-8"');
  if (record.text.includes('\uFFFD')) throw new CsvFileError(record.line, 'the file is not UTF-8 text; save it as "CSV UTF-8", or set encoding: windows-1252');
  if (record.unclosed) throw new CsvFileError(record.line, 'a quote (") opens in the header and never closes');
  const delimiter = options.delimiter ?? findDelimiter(record.text);
  const header = trimEnd((fieldsOf(record.text, delimiter) ?? []).map((cell) => cell.trim()));
  const columns = readHeader(header, options.layout);
  if ('wrong' in columns) throw new CsvFileError(record.line, columns.wrong);
  return { delimiter, header, columns };
}

/** The separator that cuts the header into most cells; quotes and brackets keep what is in them together. */
function findDelimiter(header: string): ',' | ';' | '\t' {
  const bare = header.replace(/"[^"]*"|\([^)]*\)/g, '');
  const count = (delimiter: string): number => bare.split(delimiter).length;
  const best = (['\t', ';', ','] as const).toSorted((a, b) => count(b) - count(a));
  return best[0] ?? ',';
}

/** @returns the cells of one record, or `null` when its quotes make no sense. */
function fieldsOf(text: string, delimiter: string): readonly string[] | null {
  if (!text.includes('"')) return text.split(delimiter);
  const { data, errors } = Papa.parse<string[]>(text, { delimiter, newline: text.includes('\n') ? '\n' : '\r\n', header: false });
  const [row] = data;
  return errors.length > 0 || row === undefined || data.length !== 1 ? null : row;
}

function trimEnd(cells: readonly string[]): readonly string[] {
  return cells.slice(0, cells.findLastIndex((cell) => cell !== '') + 1);
}

function countProblem(cells: readonly string[], header: readonly string[]): string | null {
  const extra = trimEnd(cells.map((cell) => cell.trim())).length;
  if (extra > header.length) return `the line has ${extra} cells, the header ${header.length}; a value with the separator in it must stand in quotes`;
  // A line cut short may end in half a number: better none than a wrong one.
  if (cells.length < header.length) return `the line has ${cells.length} cells, the header ${header.length}; was the file cut off here?`;
  return null;
}

function timeText(cells: readonly string[], { time }: CsvColumns): string {
  const first = cells[time.first] ?? '';
  return time.second === null ? first : `${first.trim()} ${(cells[time.second] ?? '').trim()}`;
}

function* readCells(line: number, cells: readonly string[], columns: CsvColumns, time: CsvTime, decimalMark: '.' | ','): Generator<CsvRow | CsvRefusal> {
  if (!time.ok) {
    yield { line, reason: time.reason };
    return;
  }
  if (columns.layout === 'long') {
    const unit = columns.unit === null ? null : (cells[columns.unit]?.trim() ?? '');
    yield* readCell(line, cells[columns.series]?.trim() ?? '', cells[columns.value] ?? '', unit === '' || unit === null ? columns.valueUnit : unit, time.atMs, decimalMark);
    return;
  }
  for (const { column, name, unit } of columns.series) yield* readCell(line, name, cells[column] ?? '', unit, time.atMs, decimalMark);
}

/** An empty cell is a missing value: nothing to keep and nothing to refuse. */
function* readCell(line: number, pointName: string, text: string, unit: string | null, atMs: number, decimalMark: '.' | ','): Generator<CsvRow | CsvRefusal> {
  if (text.trim() === '') return;
  if (pointName === '') {
    yield { line, reason: 'the series is missing: the line has a value but no name' };
    return;
  }
  const read = readScalarText(text, decimalMark);
  if (read.ok) yield { line, pointName, atMs, value: read.value, unit: read.unit ?? unit };
  else yield { line, reason: `${pointName}: ${text.includes(',') && decimalMark === '.' ? `"${text.trim()}" has a decimal comma; say that the file uses decimal commas` : `the value ${read.reason}`}` };
}
