/** How a CSV file is to be read, as the form and the API say it. */
import { z } from 'zod';
import { isTimeZone } from '../domain/local-time.ts';
import { dateOrders } from '../engine/import-contract.ts';
import { words } from './words.ts';

const blankIsNull = (value: unknown): unknown => (value === '' || value === undefined ? null : value);
const zone = z.string().max(60).refine(isTimeZone, { error: (issue) => words.import.badZone(String(issue.input)) });
export const importSettings = z.object({
  tank: z.preprocess(blankIsNull, z.string().max(200).nullable()).describe('Tank whose points short series names belong to; left out: names are full point ids.'),
  timeZone: z.preprocess(blankIsNull, zone.nullable()).describe('IANA zone of times that carry none; left out: that of the tank’s site.'),
  dateOrder: z.preprocess(blankIsNull, z.enum(dateOrders).nullable()).describe('Order of day and month in dates like 03/04/2026; left out: they are refused.'),
  timeFormat: z.preprocess(blankIsNull, z.enum(['s', 'ms']).nullable()).describe('What bare numbers mean as times; left out: they are refused.'),
  decimalComma: z.preprocess((value) => value === 'yes' || value === 'true', z.boolean()).describe('`25,4` is a number.'),
});
export const importQuery = importSettings.extend({
  fileName: z.string().min(1).max(200).default('upload.csv'),
  dryRun: z.enum(['true', 'false']).default('false').transform((flag) => flag === 'true').describe('Read and report, store nothing.'),
});
