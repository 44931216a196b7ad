/**
 * Finds the header of a CSV file among its first records: loggers write titles and serial numbers above it and a row of units below.
 * What was found is said (`CsvOpening`), so that a person can look at it before anything is stored.
 */
import { createHash } from 'node:crypto';
import { type Delimiter, cellsOf, declaredDelimiter, findDelimiter, trimEnd } from './csv-cells.ts';
import type { CsvRecord } from './csv-records.ts';
import { type ColumnRole, type CsvColumn, type CsvColumns, arrange, columnCalled, columnsIn, unitIn } from './csv-header.ts';
import { looksLikeTime } from './csv-time.ts';

export interface CsvOpening {
  readonly delimiter: Delimiter;
  readonly headerLine: number;
  /** The header as written, for telling repetitions of it. */
  readonly header: readonly string[];
  /** Lines above the header, left out. */
  readonly above: readonly { readonly line: number; readonly text: string }[];
  /** A row of units below the header, or `null`. */
  readonly units: { readonly line: number; readonly text: string } | null;
  readonly columns: readonly CsvColumn[];
  readonly arranged: CsvColumns;
  /** The same for every file with this header: what a mapping is remembered by. */
  readonly key: string;
}

/** The file cannot be opened as it is; where a header was found without a time in it, it comes along. */
export interface CsvNotOpened {
  readonly line: number;
  readonly wrong: string;
  readonly found: Omit<CsvOpening, 'arranged'> & { /** Label of the column whose cells look like times. */ readonly timeLabel: string | null } | null;
}

export interface OpeningOptions {
  readonly layout?: 'long' | 'wide' | undefined;
  readonly delimiter?: Delimiter | undefined;
  readonly roles?: ReadonlyMap<string, ColumnRole> | undefined;
}

/** Records looked at for a header; a title page is not longer. */
export const OPENING_RECORDS = 60;

export const isOpened = (opening: CsvOpening | CsvNotOpened): opening is CsvOpening => 'arranged' in opening;

/** @param records the first ones of the file, blank ones left out. */
export function openCsv(records: readonly CsvRecord[], options: OpeningOptions): CsvOpening | CsvNotOpened {
  const [first] = records;
  if (first === undefined) return { line: 1, wrong: 'the file is empty; its first line must name the columns, one of them "time"', found: null };
  const delimiter = options.delimiter ?? declaredDelimiter(first.text.trim()) ?? undefined;
  const rows = records.map((record): Row => {
    const own = delimiter ?? findDelimiter(record.text);
    return { record, delimiter: own, cells: record.broken === null ? trimEnd(cellsOf(record.text, own) ?? []) : [] };
  });
  const named = rows.filter((row) => mayBeHeader(row) && !('wrong' in arrange(columnsIn(row.cells, null), options.layout, options.roles)));
  // A line of the title page may read like a header ("Date;Logger 7"): the header is as wide as what follows.
  const header = named.find((row) => isFollowed(row, rows)) ?? named[0];
  // A damaged byte among the values is the fault of its line; in the header it is the file's.
  const damage = encodingDamage(header === undefined ? records : records.slice(0, rows.indexOf(header) + 1));
  if (damage !== null) return { ...damage, found: null };
  if (header !== undefined) return opened(header, rows, options);
  if (first.broken !== null) return { line: first.line, wrong: 'a quote (") opens in the header and never closes', found: null };
  const likely = likelyHeader(rows);
  if (likely === undefined) {
    const tried = arrange(columnsIn(rows[0]?.cells ?? [], null), options.layout, options.roles);
    return { line: first.line, wrong: 'wrong' in tried ? tried.wrong : 'the first line must name the columns; it holds a time already', found: null };
  }
  const timeLabel = timeColumnOf(likely, rows);
  const { arranged: _none, ...found } = describe(likely, rows, { layout: 'wide', time: { first: 0, second: null }, series: [] });
  return {
    line: likely.record.line,
    wrong: `no column of the header is called "time"${timeLabel === null ? '; say which it is with --map "COLUMN=@time", or on the page' : `; "${timeLabel}" looks like it: say so with --map "${timeLabel}=@time", or on the page`}`,
    found: { ...found, timeLabel },
  };
}

interface Row {
  readonly record: CsvRecord;
  readonly delimiter: Delimiter;
  readonly cells: readonly string[];
}

function opened(header: Row, rows: readonly Row[], options: OpeningOptions): CsvOpening | CsvNotOpened {
  const columns = columnsIn(header.cells.map((cell) => cell.trim()), unitsBelow(header, rows)?.cells ?? null);
  const arranged = arrange(columns, options.layout, options.roles);
  if ('wrong' in arranged) return { line: header.record.line, wrong: arranged.wrong, found: null };
  return describe(header, rows, arranged);
}

function describe(header: Row, rows: readonly Row[], arranged: CsvColumns): CsvOpening {
  const units = unitsBelow(header, rows);
  const cells = header.cells.map((cell) => cell.trim());
  return {
    delimiter: header.delimiter, headerLine: header.record.line, header: cells, units: units === null ? null : { line: units.record.line, text: units.record.text }, columns: columnsIn(cells, units?.cells ?? null), arranged,
    above: rows.slice(0, rows.indexOf(header)).map(({ record }) => ({ line: record.line, text: record.text.slice(0, 200) })),
    key: createHash('sha256').update(JSON.stringify([cells, units?.cells.map((cell) => cell.trim()) ?? []])).digest('hex'),
  };
}

/** A header holds words: no time of day, no date, and not the value of a line that names one thing ("Date;2026-03-04"). */
function mayBeHeader(row: Row): boolean {
  return row.cells.length > 0 && !row.cells.some((cell) => looksLikeTime(cell));
}

/** The rows that come next have as many cells, give or take missing ones at the end. */
function isFollowed(row: Row, rows: readonly Row[]): boolean {
  const next = rows.slice(rows.indexOf(row) + 1, rows.indexOf(row) + 4);
  return next.length === 0 || next.some(({ record }) => (cellsOf(record.text, row.delimiter) ?? []).length >= row.cells.length && row.cells.length > 1);
}

/** Right below the header, as wide as it, nothing in it but units and empty cells (and words above times), and one unit at least. */
function unitsBelow(header: Row, rows: readonly Row[]): Row | null {
  const next = rows[rows.indexOf(header) + 1];
  if (next === undefined || next.record.broken !== null) return null;
  const cells = cellsOf(next.record.text, header.delimiter) ?? [];
  if (cells.length < header.cells.length - 1) return null;
  return isUnitsRow(cells) ? { ...next, cells } : null;
}

function isUnitsRow(cells: readonly string[]): boolean {
  const written = cells.map((cell) => cell.trim());
  const isUnits = written.every((cell) => cell === '' || unitIn(cell) !== null || /^[-–(\[]?[A-Za-z :/.]*[-–)\]]?$/.test(cell)) && written.some((cell) => unitIn(cell) !== null);
  return isUnits && !written.some((cell) => looksLikeTime(cell));
}

/** The row above the first rows that hold times, or else above the first that hold numbers. */
function likelyHeader(rows: readonly Row[]): Row | undefined {
  const isData = (holds: (cell: string) => boolean) => (row: Row, index: number): boolean => {
    const column = row.cells.findIndex(holds);
    return column >= 0 && row.cells.length > 1 && rows.slice(index + 1, index + 3).every(({ cells }) => holds(cells[column] ?? ''));
  };
  for (const holds of [looksLikeTime, (cell: string) => /^\s*-?\d+([.,]\d+)?\s*$/.test(cell)]) {
    const first = rows.findIndex(isData(holds));
    const header = rows.slice(0, Math.max(first, 0)).findLast((row) => mayBeHeader(row) && row.cells.length > 1 && !isUnitsRow(cellsOf(row.record.text, row.delimiter) ?? []));
    if (header !== undefined) return header;
  }
  return undefined;
}

/** The first column whose cells look like times in the rows below. */
function timeColumnOf(header: Row, rows: readonly Row[]): string | null {
  const below = rows.slice(rows.indexOf(header) + 1).map(({ record }) => cellsOf(record.text, header.delimiter) ?? []).slice(0, 5);
  const column = columnsIn(header.cells, null).find(({ index, label }) => label !== '' && below.some((cells) => looksLikeTime(cells[index] ?? '')));
  return column === undefined ? null : (columnCalled(columnsIn(header.cells, null), column.label)?.label ?? null);
}

/** UTF-16 without its mark shows as zero bytes, another 8-bit encoding as replacement characters. */
function encodingDamage(records: readonly CsvRecord[]): { readonly line: number; readonly wrong: string } | null {
  const zeros = records.find(({ text }) => text.includes('\0'));
  if (zeros !== undefined) return { line: zeros.line, wrong: 'the file is not UTF-8 text (UTF-16 without its mark, perhaps); save it as "CSV UTF-8", or set encoding: utf-16le' };
  const replaced = records.find(({ text }) => text.includes('\uFFFD'));
  return replaced === undefined ? null : { line: replaced.line, wrong: 'the file is not UTF-8 text; save it as "CSV UTF-8", or set encoding: windows-1252' };
}
