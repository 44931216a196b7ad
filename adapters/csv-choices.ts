/** What a person says about a CSV file: how to read it, and where its columns go. Kept by header, so that it is said once. */
import { z } from 'zod';
import { isTimeZone } from '../src/domain/local-time.ts';
import type { CsvOptions } from './csv.ts';
import { delimiters } from './csv-cells.ts';
import { encodings } from './csv-encoding.ts';
import { type ColumnRole, columnRoles } from './csv-header.ts';
import { csvDateOrders, csvOverlaps, csvTimeFormats } from './csv-time.ts';

/** What a column can be that is no reading, as a mapping writes it. No point id begins with `@`. */
export const roleTargets = columnRoles.filter((role) => role !== 'reading').map((role) => `@${role}` as const);

export const choicesShape = z.object({
  timeZone: z.string().max(60).refine(isTimeZone).nullable(),
  dateOrder: z.enum(csvDateOrders).nullable(),
  timeFormat: z.enum(csvTimeFormats).nullable(),
  overlap: z.enum(csvOverlaps).nullable(),
  decimalComma: z.boolean(),
  encoding: z.enum(encodings).nullable(),
  delimiter: z.enum(delimiters).nullable(),
  columns: z.array(z.object({
    /** Column as the header names it, or in a long file the series. */
    label: z.string().min(1).max(300),
    /** Id of a point, or one of `roleTargets`. */
    target: z.string().min(1).max(300),
    /** Unit of its values, whatever the file says; `null`: as the file says, else as the point says. */
    unit: z.string().max(20).nullable(),
  })).max(500),
}).readonly();

export type CsvChoices = z.infer<typeof choicesShape>;

export const noChoices: CsvChoices = { timeZone: null, dateOrder: null, timeFormat: null, overlap: null, decimalComma: false, encoding: null, delimiter: null, columns: [] };

/** @param kept as another start of Tankbell wrote it. @returns `null` when it is not to be used any more. */
export function readChoices(kept: unknown): CsvChoices | null {
  const parsed = choicesShape.safeParse(kept);
  return parsed.success ? parsed.data : null;
}

/** What is said now wins over what was remembered, answer by answer and column by column. */
export function mergeChoices(said: CsvChoices, remembered: CsvChoices): CsvChoices {
  const labels = new Set(said.columns.map(({ label }) => label));
  return {
    timeZone: said.timeZone ?? remembered.timeZone, dateOrder: said.dateOrder ?? remembered.dateOrder, timeFormat: said.timeFormat ?? remembered.timeFormat,
    overlap: said.overlap ?? remembered.overlap, decimalComma: said.decimalComma || remembered.decimalComma, encoding: said.encoding ?? remembered.encoding,
    delimiter: said.delimiter ?? remembered.delimiter, columns: [...said.columns, ...remembered.columns.filter(({ label }) => !labels.has(label))],
  };
}

/** @param zone of the site, for times that carry none. */
export function csvOptionsOf(choices: CsvChoices, zone: string | null): CsvOptions {
  const roleOf = (target: string): ColumnRole => columnRoles.find((role) => role !== 'reading' && target === `@${role}`) ?? 'reading';
  return {
    timeZone: choices.timeZone ?? undefined, siteZone: zone ?? undefined, dateOrder: choices.dateOrder ?? undefined, timeFormat: choices.timeFormat ?? undefined, overlap: choices.overlap ?? undefined,
    decimalComma: choices.decimalComma, encoding: choices.encoding ?? undefined, delimiter: choices.delimiter ?? undefined,
    roles: new Map(choices.columns.map(({ label, target }) => [label, roleOf(target)])),
  };
}

/** `Column=point`, `Column=point:unit` or `Column=@skip`, as the command line writes it. @returns what is wrong, in words, when it is none of them. */
export function readMapping(text: string): CsvChoices['columns'][number] | { readonly wrong: string } {
  const at = text.lastIndexOf('=');
  const label = text.slice(0, Math.max(at, 0)).trim();
  const [target = '', unit] = text.slice(at + 1).split(/:(.*)/s).map((part) => part.trim());
  if (at < 0 || label === '' || target === '' || unit === '') return { wrong: `"${text}" is no mapping; write "Column=point", "Column=point:unit" or "Column=@skip"` };
  if (target.startsWith('@') && !roleTargets.some((role) => role === target)) return { wrong: `"${target}" is nothing a column can be; write a point, or one of ${roleTargets.join(', ')}` };
  return { label, target, unit: unit ?? null };
}
