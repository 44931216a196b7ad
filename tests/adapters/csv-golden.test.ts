/**
 * Golden cases of CSV: every folder `tests/adapters/csv/<case>/` is a test. `input.csv` are the bytes of the file, `options.json` what is known
 * about it, `expected.json` what is read: readings (line, label, time, value, unit), refusals by a part of their reason, and the questions a look
 * at the file asks. A report from outside becomes one by dropping the file in.
 *
 * Sources: the `rfc4180-*` cases hold the strings of RFC 4180 §2 with a time in the first field (check-values §8.4), `rfc3339-examples`
 * those of RFC 3339 §5.8 (check-values §8.5). Serial dates: 25569 is 1970-01-01 and 60 the false 29 February 1900 of the 1900 date system
 * (ECMA-376 Part 1 §18.17.4, from memory). Denver changes its clocks on the second Sunday of March and the first of November (15 U.S.C. §260a,
 * from memory). Everything else is common practice of loggers and spreadsheets.
 */
import { createReadStream, readFileSync, readdirSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { z } from 'zod';
import { CsvFileError, type CsvOptions, type CsvRefusal, type CsvRow, readCsv } from '../../adapters/csv.ts';
import { delimiters } from '../../adapters/csv-cells.ts';
import { encodings } from '../../adapters/csv-encoding.ts';
import { columnRoles } from '../../adapters/csv-header.ts';
import { lookAtCsv } from '../../adapters/csv-look.ts';
import { csvDateOrders, csvOverlaps, csvTimeFormats } from '../../adapters/csv-time.ts';

const here = new URL('./csv/', import.meta.url);
const cases = readdirSync(here).sort();

const optionsFile = z.strictObject({
  dateOrder: z.enum(csvDateOrders).optional(), timeZone: z.string().optional(), siteZone: z.string().optional(), timeFormat: z.enum(csvTimeFormats).optional(), overlap: z.enum(csvOverlaps).optional(),
  layout: z.enum(['long', 'wide']).optional(), delimiter: z.enum(delimiters).optional(), decimalComma: z.boolean().optional(), encoding: z.enum(encodings).optional(),
  roles: z.record(z.string(), z.enum(columnRoles)).optional(),
});
const expectedFile = z.strictObject({
  rows: z.array(z.tuple([z.int(), z.string(), z.string(), z.union([z.number(), z.string()]), z.string().nullable()])),
  refusals: z.array(z.strictObject({ line: z.int(), reasonHas: z.string().min(5) })),
  missing: z.int().optional(),
  /** The file as a whole is refused. */
  stops: z.strictObject({ line: z.int(), reasonHas: z.string().min(5) }).optional(),
  /** What a look asks: option, line and cell, and what is proven. */
  asks: z.array(z.strictObject({ option: z.string(), line: z.int(), text: z.string(), proven: z.string().optional(), remarkHas: z.string().optional() })).optional(),
  above: z.int().optional(),
});

describe('golden CSV files', () => {
  it('are many', () => expect(cases.length).toBeGreaterThanOrEqual(25));

  for (const name of cases) {
    const folder = new URL(`./${name}/`, here);
    const json = (file: string): unknown => JSON.parse(readFileSync(new URL(file, folder), 'utf8'));
    const { roles, ...rest } = optionsFile.parse(json('options.json'));
    const options: CsvOptions = { ...rest, ...(roles === undefined ? {} : { roles: new Map(Object.entries(roles)) }) };
    const expected = expectedFile.parse(json('expected.json'));
    const input = (chunk: number) => createReadStream(new URL('input.csv', folder), { highWaterMark: chunk });

    // Read whole, and in pieces that cut every character, line end and quote.
    it.each([64 * 1024, 1])(`${name}, in pieces of %i`, async (chunk) => {
      const rows: CsvRow[] = [];
      const refusals: CsvRefusal[] = [];
      let missing = 0;
      let stop: CsvFileError | null = null;
      try {
        for await (const block of readCsv(input(chunk), options)) {
          rows.push(...block.rows);
          refusals.push(...block.refusals);
          missing += block.missing;
        }
      } catch (error) {
        if (!(error instanceof CsvFileError)) throw error;
        stop = error;
      }
      expect(rows.map(({ line, label, atMs, value, unit }) => [line, label, new Date(atMs).toISOString(), value, unit])).toEqual(expected.rows);
      expect(refusals.map(({ line }) => line)).toEqual(expected.refusals.map(({ line }) => line));
      for (const [index, { reasonHas }] of expected.refusals.entries()) expect(refusals[index]?.reason).toContain(reasonHas);
      expect(missing).toBe(expected.missing ?? 0);
      expect(stop?.line).toBe(expected.stops?.line);
      if (expected.stops !== undefined) expect(stop?.message).toContain(expected.stops.reasonHas);
    });

    it(`${name}, looked at`, async () => {
      const look = await lookAtCsv(input(64 * 1024), options);
      if ('wrong' in look) {
        expect(expected.stops, look.wrong).toBeDefined();
        expect(look.wrong).toContain(expected.stops?.reasonHas);
        return;
      }
      expect(look.questions.map(({ option, line, text }) => ({ option, line, text }))).toEqual((expected.asks ?? []).map(({ option, line, text }) => ({ option, line, text })));
      for (const [index, { proven, remarkHas }] of (expected.asks ?? []).entries()) {
        expect(look.questions[index]?.proof?.value).toBe(proven);
        if (remarkHas !== undefined) expect(look.questions[index]?.remark).toContain(remarkHas);
      }
      expect(look.opening.above).toHaveLength(expected.above ?? 0);
      // What the preview shows is what is read.
      const timed = look.preview.filter(({ atMs }) => atMs !== null);
      const times = new Set(expected.rows.map(([line, , at]) => `${line} ${at}`));
      if (expected.stops === undefined) for (const { line, atMs, cells } of timed) if (cells.length > 0 && !expected.refusals.some((one) => one.line === line)) expect(times).toContain(`${line} ${new Date(atMs ?? 0).toISOString()}`);
    });
  }
});
