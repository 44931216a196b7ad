/** How a CSV file is to be read, as the forms and the API say it. */
import { z } from 'zod';
import { type CsvChoices, readMapping } from '../../adapters/csv-choices.ts';
import { delimiters } from '../../adapters/csv-cells.ts';
import { encodings } from '../../adapters/csv-encoding.ts';
import { csvDateOrders, csvOverlaps, csvTimeFormats } from '../../adapters/csv-time.ts';
import { isTimeZone } from '../domain/local-time.ts';
import { words } from './words.ts';

const blankIsNull = (value: unknown): unknown => (value === '' || value === undefined ? null : value);
const zone = z.string().max(60).refine(isTimeZone, { error: (issue) => words.import.badZone(String(issue.input)) });
const orNull = <Kind extends z.ZodType>(kind: Kind) => z.preprocess(blankIsNull, kind.nullable());

export const importSettings = z.object({
  tank: orNull(z.string().max(200)).describe('Tank whose points short series names belong to; left out: names are full point ids.'),
  timeZone: orNull(zone).describe('IANA zone of times that carry none; left out: UTC where the header says so, else that of the tank’s site.'),
  dateOrder: orNull(z.enum(csvDateOrders)).describe('Order of day and month in dates like 03/04/2026; left out: they are refused.'),
  timeFormat: orNull(z.enum(csvTimeFormats)).describe('What bare numbers mean as times: s or ms since 1970, or spreadsheet days; left out: they are refused.'),
  overlap: orNull(z.enum(csvOverlaps)).describe('What to make of local times that happened twice when clocks went back; left out: they are refused.'),
  encoding: orNull(z.enum(encodings)).describe('Left out: UTF-8, or what the byte-order mark says.'),
  delimiter: orNull(z.enum(delimiters)).describe('Left out: found from the header.'),
  decimalComma: z.preprocess((value) => value === 'yes' || value === 'true', z.boolean()).describe('`25,4` is a number.'),
});

const mapping = z.string().max(700).transform((text, context) => {
  const read = readMapping(text);
  if (!('wrong' in read)) return read;
  context.addIssue({ code: 'custom', message: read.wrong });
  return z.NEVER;
});

export const importQuery = importSettings.extend({
  fileName: z.string().min(1).max(200).default('upload.csv'),
  dryRun: z.enum(['true', 'false']).default('false').transform((flag) => flag === 'true').describe('Read and report, store nothing.'),
  wait: z.enum(['true', 'false']).default('true').transform((flag) => flag === 'true').describe('Answer when the import has ended; false: answer when it has begun, and ask `/api/import/{id}` how far it is.'),
  remembered: z.enum(['true', 'false']).default('true').transform((flag) => flag === 'true').describe('Fill in what is left out from what was said about a file with this header before.'),
  map: z.preprocess((value) => (value === undefined ? [] : [value].flat()), z.array(mapping).max(500)).describe('Where a column goes, repeatable: `Column=point`, `Column=point:unit` or `Column=@skip`.'),
});

export const choicesOf = (settings: Omit<z.infer<typeof importSettings>, 'tank'>, columns: CsvChoices['columns'] = []): CsvChoices => ({
  timeZone: settings.timeZone, dateOrder: settings.dateOrder, timeFormat: settings.timeFormat, overlap: settings.overlap, encoding: settings.encoding, delimiter: settings.delimiter,
  decimalComma: settings.decimalComma, columns,
});

/** The form of the second step: settings, and for each column its label, where it goes and its unit, numbered. Nothing chosen leaves the column out. */
export function readColumnForm(body: unknown): { readonly choices: CsvChoices } | { readonly wrong: string } {
  const fields = z.record(z.string(), z.unknown()).safeParse(body ?? {});
  if (!fields.success) return { wrong: words.import.badForm };
  const settings = importSettings.omit({ tank: true }).safeParse(fields.data);
  if (!settings.success) return { wrong: settings.error.issues.map(({ message }) => message).join('; ') };
  const columns: CsvChoices['columns'][number][] = [];
  for (let index = 0; index < 500; index += 1) {
    const label = text(fields.data[`label.${index}`]);
    if (label === null) break;
    columns.push({ label: label.slice(0, 300), target: text(fields.data[`target.${index}`])?.slice(0, 300) ?? '@skip', unit: text(fields.data[`unit.${index}`])?.slice(0, 20) ?? null });
  }
  return { choices: choicesOf(settings.data, columns) };
}

const text = (value: unknown): string | null => (typeof value === 'string' && value !== '' ? value : null);

