/**
 * Golden cases of session formats: every folder `tests/adapters/<format>/<case>/` is a sequence. `fields.json` says what the points ask for, `messages.json`
 * lists topic, time of arrival and bytes, `expected.json` what comes out of each message: samples, refusals (by a part of their reason), presence, requests, and what is
 * handed on unclaimed, as it can be read again.
 *
 * The bytes of sparkplug were written by the npm package `sparkplug-payload` 1.0.3, which is not what reads them; the rules are those of
 * Eclipse Sparkplug 3.0.0, chapters 4–6 (check-values §8.2).
 */
import { readdirSync, readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { z } from 'zod';
import { loadFormats } from '../../adapters/load.ts';
import { messageFields } from '../../adapters/message-fields.ts';
import { placeText } from '../../src/domain/unclaimed.ts';

const here = new URL('./', import.meta.url);
const formats = await loadFormats();
const fieldsFile = z.array(z.strictObject({ pointId: z.string(), address: z.string(), options: z.unknown() }));
const messagesFile = z.array(z.strictObject({ topic: z.string(), arrivedMs: z.int(), hex: z.string() }));
const expectedFile = z.array(z.strictObject({
  samples: z.array(z.strictObject({ pointId: z.string(), atMs: z.int().nullable(), value: z.union([z.number(), z.boolean(), z.string()]), unit: z.string().nullable(), historical: z.literal(true).optional() })).default([]),
  refusals: z.array(z.strictObject({ pointId: z.string().nullable(), reasonHas: z.string().min(5) })).default([]),
  presence: z.array(z.strictObject({ state: z.enum(['online', 'offline']), pointIds: z.array(z.string()), atMs: z.int().optional(), whyHas: z.string().optional() })).default([]),
  ask: z.array(z.string()).default([]),
  unclaimed: z.array(z.strictObject({ topic: z.string(), partial: z.literal(true).optional(), values: z.array(z.tuple([z.string(), z.union([z.number(), z.boolean(), z.string()]), z.int().nullable()])) })).default([]),
}));

for (const [name, format] of formats) {
  if (!('open' in format)) continue;
  describe(name, () => {
    const cases = readdirSync(new URL(`./${name}/`, here));
    it('has cases', () => expect(cases.length).toBeGreaterThan(5));
    for (const caseName of cases) {
      it(caseName, () => {
        const json = (file: string): unknown => JSON.parse(readFileSync(new URL(`./${name}/${caseName}/${file}`, here), 'utf8'));
        const session = format.open(fieldsFile.parse(json('fields.json')).map((field) => ({ ...field, options: format.options.parse(field.options) })), 'tankbell');
        const expected = expectedFile.parse(json('expected.json'));
        for (const [index, { topic, arrivedMs, hex }] of messagesFile.parse(json('messages.json')).entries()) {
          expect(session.claims(topic), topic).toBe(true);
          const decoded = session.decode(Buffer.from(hex, 'hex'), { topic, arrivedMs });
          const wanted = expected[index];
          const where = `message ${index + 1}, ${topic}`;
          expect(decoded.samples, where).toEqual(wanted?.samples);
          expect(decoded.refusals.map(({ pointId }) => pointId), `${where}: ${JSON.stringify(decoded.refusals)}`).toEqual(wanted?.refusals.map(({ pointId }) => pointId));
          for (const [at, { reasonHas }] of (wanted?.refusals ?? []).entries()) expect(decoded.refusals[at]?.reason, where).toContain(reasonHas);
          expect((decoded.presence ?? []).length, where).toBe(wanted?.presence.length);
          for (const [at, { whyHas = '', ...change }] of (wanted?.presence ?? []).entries()) {
            expect(decoded.presence?.[at], where).toMatchObject(change);
            expect(decoded.presence?.[at]?.why, where).toContain(whyHas);
          }
          expect((decoded.unclaimed ?? []).map(({ topic: address, partial, bytes }) => ({
            topic: address, ...(partial === undefined ? {} : { partial }),
            values: messageFields(address, bytes, arrivedMs).fields.map(({ place, value, atMs }) => [placeText(place), value, atMs]),
          })), where).toEqual(wanted?.unclaimed);
          expect((decoded.ask ?? []).map((asked) => asked.topic), where).toEqual(wanted?.ask);
        }
      });
    }
  });
}
