/** What the columns of a CSV file are: one series per row (long), or one series per column (wide). */
import { kindsFor } from '../src/domain/units.ts';

/** One column as the file names it. */
export interface CsvColumn {
  readonly index: number;
  /** The cell of the header, made unique: what a mapping calls the column. */
  readonly label: string;
  /** Without its unit. */
  readonly name: string;
  readonly unit: string | null;
}

export const columnRoles = ['time', 'date', 'time-of-day', 'series', 'value', 'unit', 'skip', 'reading'] as const;
export type ColumnRole = (typeof columnRoles)[number];

export type CsvColumns =
  | { readonly layout: 'long'; readonly time: TimeColumns; readonly series: number; readonly value: number; readonly unit: number | null; readonly valueUnit: string | null }
  | { readonly layout: 'wide'; readonly time: TimeColumns; readonly series: readonly CsvColumn[] };

/** One column, or a date and a time of day side by side. */
export interface TimeColumns {
  readonly first: number;
  readonly second: number | null;
}

const timeNames = new Set(['time', 'timestamp', 'datetime', 'date time', 'date/time', 'date_time', 'at', 'date', 'utc']);
const timeOfDayNames = new Set(['time', 'time of day']);
const seriesNames = new Set(['series', 'point', 'name', 'sensor', 'channel']);
const valueNames = new Set(['value', 'reading']);
const unitNames = new Set(['unit', 'units']);

/** @param units cells of a row of units below the header, if there is one; a unit in the header itself wins. */
export function columnsIn(header: readonly string[], units: readonly string[] | null): readonly CsvColumn[] {
  const labels = new Set<string>();
  const times = new Map<string, number>();
  return header.map((cell, index) => {
    const text = cell.trim();
    let label = text;
    // A column may be called "Temp #2" by the file itself.
    let nth = times.get(text) ?? 1;
    for (; labels.has(label); label = `${text} #${nth}`) nth += 1;
    labels.add(label);
    times.set(text, nth);
    const { name, unit } = splitUnit(text);
    return { index, label, name, unit: unit ?? unitIn(units?.[index] ?? '') };
  });
}

/**
 * @param roles what a mapping says columns are, by label (or by name, where only one column has it); the names of the file say the rest.
 * @returns what each column is, or what is wrong with the header and how to write it.
 */
export function arrange(columns: readonly CsvColumn[], layout: 'long' | 'wide' | undefined, roles: ReadonlyMap<string, ColumnRole> = new Map()): CsvColumns | { readonly wrong: string } {
  const given = new Map([...roles].flatMap(([key, role]) => {
    const column = columnCalled(columns, key);
    return column === null ? [] : [[column.index, role] as const];
  }));
  const at = (role: ColumnRole): number => columns.findIndex(({ index }) => given.get(index) === role);
  const plain = columns.map(({ index, name }) => (given.has(index) ? '' : name.trim().toLowerCase()));
  const find = (role: ColumnRole, names: ReadonlySet<string>): number => (at(role) >= 0 ? at(role) : plain.findIndex((name) => names.has(name)));
  const time = timeColumns(plain, at);
  if (time === null) return { wrong: `the first line must name the columns, one of them "time"; it is: ${columns.map(({ label }) => label).join(' | ').slice(0, 120)}` };
  const series = find('series', seriesNames);
  const value = find('value', valueNames);
  if (layout === 'long' || (layout === undefined && series >= 0 && value >= 0)) {
    if (series < 0 || value < 0) return { wrong: 'a long file needs the columns time, series and value (and unit, if you like)' };
    const unit = find('unit', unitNames);
    return { layout: 'long', time, series, value, unit: unit < 0 ? null : unit, valueUnit: columns[value]?.unit ?? null };
  }
  const readings = columns.filter(({ index, name }) => index !== time.first && index !== time.second && name !== '' && (given.get(index) ?? 'reading') === 'reading');
  // Whoever leaves every column out has understood the file; one that has none is cut wrongly.
  if (readings.length === 0 && ![...given.values()].includes('skip')) return { wrong: 'there is a time but no column of values beside it; if the columns are separated by something else than commas, semicolons or tabs, save the file again with commas' };
  return { layout: 'wide', time, series: readings };
}

/** What the header calls the time. */
export function timeLabelOf(columns: readonly CsvColumn[], { time }: CsvColumns): string {
  return columns.filter(({ index }) => index === time.first || index === time.second).map(({ label }) => label).join(' ');
}

/** Columns nothing is read from: left out as said, without a name, or beside the columns of a long file. */
export function unreadColumns(columns: readonly CsvColumn[], arranged: CsvColumns): readonly CsvColumn[] {
  const { time } = arranged;
  const read = new Set([time.first, time.second, ...(arranged.layout === 'long' ? [arranged.series, arranged.value, arranged.unit] : arranged.series.map(({ index }) => index))]);
  return columns.filter(({ index }) => !read.has(index));
}

/** The column with this label, or the only one with this name. */
export function columnCalled(columns: readonly CsvColumn[], key: string): CsvColumn | null {
  const wanted = key.trim();
  const byLabel = columns.find(({ label }) => label === wanted);
  if (byLabel !== undefined) return byLabel;
  const byName = columns.filter(({ name }) => name === wanted);
  return byName.length === 1 ? (byName[0] ?? null) : null;
}

function timeColumns(plain: readonly string[], at: (role: ColumnRole) => number): TimeColumns | null {
  const [time, date, clock] = [at('time'), at('date'), at('time-of-day')];
  if (time >= 0) return { first: time, second: null };
  if (date >= 0 && clock >= 0) return { first: date, second: clock };
  const namedDate = date >= 0 ? date : plain.indexOf('date');
  const namedClock = clock >= 0 ? clock : plain.findIndex((name) => timeOfDayNames.has(name));
  if (namedDate >= 0 && namedClock >= 0) return { first: namedDate, second: namedClock };
  const first = date >= 0 ? date : plain.findIndex((name) => timeNames.has(name));
  return first < 0 ? null : { first, second: null };
}

/** `Temp (°F)`, `Temp [°F]` and `Temp, °F` carry a unit; brackets that hold no unit (`Temp (sump)`) belong to the name. */
export function splitUnit(cell: string): { readonly name: string; readonly unit: string | null } {
  const text = cell.trim();
  const match = /^(.*\S)\s*[([]\s*([^()[\]]+?)\s*[)\]]$/.exec(text) ?? /^(.*\S)\s*,\s*([^,]+)$/.exec(text);
  const [, name, unit] = match ?? [];
  return name !== undefined && unit !== undefined && kindsFor(unit).length > 0 ? { name, unit } : { name: text, unit: null };
}

/** `°F`, `(°F)` or `[°F]`: a cell of a row of units. @returns `null` when it is no unit. */
export function unitIn(cell: string): string | null {
  const unit = cell.trim().replace(/^[([]\s*|\s*[)\]]$/g, '');
  return unit !== '' && kindsFor(unit).length > 0 ? unit : null;
}
