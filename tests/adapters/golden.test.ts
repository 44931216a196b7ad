/**
 * Golden cases: every folder `tests/adapters/<format>/<case>/` is a test. `fields.json` says what the points ask for; `input.*` are the bytes
 * of the message; `expected.json` lists the samples, or `expected-reject.json` the samples kept and the refusals (by a part of their reason), or
 * `expected-unread.json` the samples and what no point reads.
 * Session formats have sequences instead: `session.test.ts`.
 * Times of RFC 3339 §5.8 (check-values §8.5) and RFC 8428 §5.1.2 (1276020076.001 s) stand in the `time-*` cases of json.
 */
import { readdirSync, readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { z } from 'zod';
import { loadFormats } from '../../adapters/load.ts';

const here = new URL('./', import.meta.url);
const formats = await loadFormats();
const foldersIn = (url: URL): string[] => readdirSync(url, { withFileTypes: true }).filter((entry) => entry.isDirectory()).map(({ name }) => name);

const fieldsFile = z.array(z.strictObject({ pointId: z.string(), options: z.unknown() }));
const samplesFile = z.array(z.strictObject({ pointId: z.string(), atMs: z.int().nullable(), value: z.union([z.number(), z.boolean(), z.string()]), unit: z.string().nullable(), nextWithinMs: z.int().optional(), historical: z.literal(true).optional() }));
const rejectFile = z.strictObject({ samples: samplesFile, refusals: z.array(z.strictObject({ pointId: z.string().nullable(), reasonHas: z.string().min(3) })).min(1) });
const unreadFile = z.strictObject({ samples: samplesFile, unread: z.array(z.strictObject({ name: z.string(), unit: z.string().nullable() })).min(1) });

it('has cases for every format', () => {
  // CSV is no format of a message; its cases are in csv-golden.test.ts.
  expect(foldersIn(here).filter((name) => name !== 'csv').sort()).toEqual([...formats.keys()].sort());
});

for (const [name, format] of formats) {
  if (!('prepare' in format)) continue;
  describe(name, () => {
    for (const caseName of foldersIn(new URL(`./${name}/`, here))) {
      it(caseName, () => {
        const folder = new URL(`./${name}/${caseName}/`, here);
        const files = readdirSync(folder);
        const json = (file: string): unknown => JSON.parse(readFileSync(new URL(file, folder), 'utf8'));
        const input = readFileSync(new URL(files.find((file) => file.startsWith('input.')) ?? 'input.missing', folder));
        const fields = fieldsFile.parse(json('fields.json')).map((field) => ({ ...field, options: format.options.parse(field.options) }));
        const decoded = format.prepare(fields)(input, { topic: 'harbor-lobby/case', arrivedMs: 0 });
        if (files.includes('expected.json')) {
          expect(decoded).toEqual({ samples: samplesFile.parse(json('expected.json')), refusals: [] });
          return;
        }
        if (files.includes('expected-unread.json')) {
          expect(decoded).toEqual({ ...unreadFile.parse(json('expected-unread.json')), refusals: [] });
          return;
        }
        const expected = rejectFile.parse(json('expected-reject.json'));
        expect(decoded.samples).toEqual(expected.samples);
        expect(decoded.refusals.map(({ pointId }) => pointId)).toEqual(expected.refusals.map(({ pointId }) => pointId));
        for (const [index, { reasonHas }] of expected.refusals.entries()) expect(decoded.refusals[index]?.reason).toContain(reasonHas);
        for (const { source, excerpt } of decoded.refusals) {
          expect(source).toBe('harbor-lobby/case');
          expect(excerpt.length).toBeLessThanOrEqual(120);
        }
      });
    }
  });
}
