/** What the columns of a CSV file are: one series per row (long), or one series per column (wide). */
import { kindsFor } from '../src/domain/units.ts';

export type CsvColumns =
  | { readonly layout: 'long'; readonly time: TimeColumns; readonly series: number; readonly value: number; readonly unit: number | null; readonly valueUnit: string | null }
  | { readonly layout: 'wide'; readonly time: TimeColumns; readonly series: readonly SeriesColumn[] };

/** One column, or a date and a time of day side by side. */
export interface TimeColumns {
  readonly first: number;
  readonly second: number | null;
}

export interface SeriesColumn {
  readonly column: number;
  readonly name: string;
  readonly unit: string | null;
}

const timeNames = new Set(['time', 'timestamp', 'datetime', 'date time', 'date/time', 'date_time', 'at', 'date', 'utc']);
const timeOfDayNames = new Set(['time', 'time of day']);
const seriesNames = new Set(['series', 'point', 'name', 'sensor', 'channel']);
const valueNames = new Set(['value', 'reading']);
const unitNames = new Set(['unit', 'units']);

/** @returns the columns, or what is wrong with the header and how to write it. */
export function readHeader(cells: readonly string[], layout: 'long' | 'wide' | undefined): CsvColumns | { readonly wrong: string } {
  const plain = cells.map((cell) => splitUnit(cell).name.trim().toLowerCase());
  const find = (names: ReadonlySet<string>): number => plain.findIndex((name) => names.has(name));
  const time = timeColumns(plain);
  if (time === null) return { wrong: `the first line must name the columns, one of them "time"; it is: ${cells.join(' | ').slice(0, 120)}` };
  const series = find(seriesNames);
  const value = find(valueNames);
  const isLong = layout === 'long' || (layout === undefined && series >= 0 && value >= 0);
  if (isLong) {
    if (series < 0 || value < 0) return { wrong: 'a long file needs the columns time, series and value (and unit, if you like)' };
    const unit = find(unitNames);
    return { layout: 'long', time, series, value, unit: unit < 0 ? null : unit, valueUnit: splitUnit(cells[value] ?? '').unit };
  }
  const columns = cells.map((cell, column): SeriesColumn => ({ column, ...splitUnit(cell) })).filter(({ column, name }) => column !== time.first && column !== time.second && name !== '');
  if (columns.length === 0) return { wrong: 'there is a time but no column of values beside it; if the columns are separated by something else than commas, semicolons or tabs, save the file again with commas' };
  const twice = columns.find(({ name }, index) => columns.findIndex((other) => other.name === name) !== index);
  if (twice !== undefined) return { wrong: `two columns are called "${twice.name}"; give each its own name` };
  return { layout: 'wide', time, series: columns };
}

function timeColumns(plain: readonly string[]): TimeColumns | null {
  const date = plain.indexOf('date');
  const timeOfDay = plain.findIndex((name) => timeOfDayNames.has(name));
  if (date >= 0 && timeOfDay >= 0) return { first: date, second: timeOfDay };
  const first = plain.findIndex((name) => timeNames.has(name));
  return first < 0 ? null : { first, second: null };
}

/** `Temp (°F)`, `Temp [°F]` and `Temp, °F` carry a unit; brackets that hold no unit (`Temp (sump)`) belong to the name. */
export function splitUnit(cell: string): { readonly name: string; readonly unit: string | null } {
  const text = cell.trim();
  const match = /^(.*\S)\s*[([]\s*([^()[\]]+?)\s*[)\]]$/.exec(text) ?? /^(.*\S)\s*,\s*([^,]+)$/.exec(text);
  const [, name, unit] = match ?? [];
  return name !== undefined && unit !== undefined && kindsFor(unit).length > 0 ? { name, unit } : { name: text, unit: null };
}
