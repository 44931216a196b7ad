/**
 * What a device posts to its site: JSON, CSV, or any payload format that is known by its media type (SenML). Decoded reading by reading, so that a
 * bad one takes nothing else with it. A device reaches the points of its own site only; others are to it as if they were not there.
 */
import { z } from 'zod';
import type { PayloadFormat } from '../../adapters/contract.ts';
import { CsvFileError, readCsv } from '../../adapters/csv.ts';
import { csvOptionsOf } from '../../adapters/csv-choices.ts';
import { splitUnit } from '../../adapters/csv-header.ts';
import { parseRfc3339 } from '../../adapters/rfc3339.ts';
import { readScalarText } from '../../adapters/scalar-text.ts';
import { readSourceTime } from '../../adapters/source-time.ts';
import type { Point, Site } from '../domain/fleet.ts';
import type { Sample } from '../domain/reading.ts';
import { destinationOf } from '../engine/import-mapping.ts';
import { canonicalValue } from '../ingest/intake.ts';
import { choicesOf, importSettings } from './import-query.ts';
import { sentenceOf } from './issues.ts';
import { words } from './words.ts';

export const MAX_READINGS = 10_000;
const MAX_UNREAD_TOLD = 100;

export interface PostFacts {
  readonly mediaType: string;
  readonly site: Site;
  /** Points of the site. */
  readonly points: readonly Point[];
  /** Payload formats by name. */
  readonly formats: ReadonlyMap<string, PayloadFormat>;
  /** How a CSV body is to be read. */
  readonly query: unknown;
  readonly arrivedMs: number;
}

export interface RefusedReading {
  /** Position in a JSON body, from 0. */
  readonly index: number | null;
  /** Line of a CSV body, from 1. */
  readonly line: number | null;
  readonly pointId: string | null;
  readonly reason: string;
  readonly excerpt: string;
}

export type PostedReadings =
  | { readonly samples: readonly Sample[]; readonly refused: readonly RefusedReading[] }
  | { readonly status: 400 | 413 | 415; readonly wrong: string };

/** Payload formats that may be posted, by media type. RFC 8428 §12.3 registers those of SenML. */
const formatOfMediaType: Readonly<Record<string, string>> = { 'application/senml+json': 'senml', 'application/senml+cbor': 'senml' };

/** Samples come in order of time: a device may list its newest first, and what is judged is judged in the order in which it happened. */
export async function readPosted(bytes: Uint8Array, facts: PostFacts): Promise<PostedReadings> {
  const read = await readBody(bytes, facts);
  return 'wrong' in read ? read : { ...read, samples: read.samples.toSorted((a, b) => (a.atMs ?? facts.arrivedMs) - (b.atMs ?? facts.arrivedMs)) };
}

async function readBody(bytes: Uint8Array, facts: PostFacts): Promise<PostedReadings> {
  switch (facts.mediaType) {
    case 'application/json': return readJson(bytes, facts);
    case 'text/csv': return readCsvBody(bytes, facts);
    default: {
      const format = facts.formats.get(formatOfMediaType[facts.mediaType] ?? '');
      const known = Object.entries(formatOfMediaType).filter(([, name]) => facts.formats.has(name)).map(([type]) => type);
      return format === undefined ? { status: 415, wrong: words.readings.mediaType(facts.mediaType, ['application/json', 'text/csv', ...known]) } : readFormat(bytes, format, facts);
    }
  }
}

export const readingShape = z.object({
  point: z.string().min(1).max(300).describe('Id of a point of the site: `tank/point`, or `site/point`.'),
  at: z.union([z.string().max(60), z.number()]).nullish().describe('RFC 3339 with zone, or ms since 1970. Left out: the time of arrival.'),
  value: z.union([z.number(), z.boolean(), z.string().max(100)]).describe('A number, or on/off words for a switch.'),
  unit: z.string().max(20).nullish().describe('Left out: the unit the point is set up with.'),
});

export const postedShape = z.union([z.object({ readings: z.array(readingShape).max(MAX_READINGS) }), z.array(readingShape).max(MAX_READINGS), readingShape]);

function readJson(bytes: Uint8Array, facts: PostFacts): PostedReadings {
  let body: unknown;
  try {
    body = JSON.parse(new TextDecoder('utf-8', { fatal: true }).decode(bytes));
  } catch (error) {
    return { status: 400, wrong: words.readings.noJson(error instanceof Error ? error.message : String(error)) };
  }
  const list: unknown = Array.isArray(body) ? body : typeof body === 'object' && body !== null && 'readings' in body ? body.readings : [body];
  if (!Array.isArray(list)) return { status: 400, wrong: words.readings.noList };
  if (list.length > MAX_READINGS) return { status: 413, wrong: words.readings.tooMany(MAX_READINGS) };
  const samples: Sample[] = [];
  const refused: RefusedReading[] = [];
  for (const [index, entry] of list.entries()) {
    const read = readOne(entry, facts);
    if ('reason' in read) refused.push({ index, line: null, excerpt: (JSON.stringify(entry) ?? '').slice(0, 120), ...read });
    else samples.push(read);
  }
  return { samples, refused };
}

function readOne(entry: unknown, { points, site }: PostFacts): Sample | { readonly pointId: string | null; readonly reason: string } {
  const parsed = readingShape.safeParse(entry);
  if (!parsed.success) return { pointId: null, reason: sentenceOf(parsed.error, 'with fields') };
  const { point: id, at, value, unit = null } = parsed.data;
  const point = points.find((one) => one.id === id);
  if (point === undefined) return { pointId: null, reason: words.readings.noPoint(id, site.id, points.map((one) => one.id)) };
  const time = at === undefined || at === null ? { ok: true as const, atMs: null } : typeof at === 'number' ? readSourceTime(at, 'ms') : parseRfc3339(at);
  if (!time.ok) return { pointId: id, reason: time.reason };
  const text = typeof value === 'string' ? readScalarText(value) : null;
  if (text !== null && !text.ok) return { pointId: id, reason: `the value ${text.reason}` };
  return checked(point, { pointId: id, atMs: time.atMs, value: text === null ? value : text.value, unit: unit ?? text?.unit ?? null });
}

/** What the engine would refuse is refused here, where it can still be answered. */
function checked(point: Point, sample: Sample): Sample | { readonly pointId: string; readonly reason: string } {
  const value = canonicalValue(point, sample.value, sample.unit);
  return typeof value === 'number' ? sample : { pointId: point.id, reason: value.wrong };
}

async function readCsvBody(bytes: Uint8Array, { site, points, query }: PostFacts): Promise<PostedReadings> {
  const settings = importSettings.safeParse(query);
  if (!settings.success) return { status: 400, wrong: sentenceOf(settings.error, 'with fields') };
  const { tank, ...rest } = settings.data;
  const choices = choicesOf(rest);
  const samples: Sample[] = [];
  const refused: RefusedReading[] = [];
  const refuse = (line: number, pointId: string | null, reason: string, excerpt: string): number => refused.push({ index: null, line, pointId, reason, excerpt: excerpt.slice(0, 120) });
  try {
    for await (const block of readCsv((async function* () { yield bytes; })(), csvOptionsOf(choices, site.timeZone))) {
      for (const { line, reason } of block.refusals) refuse(line, null, reason, '');
      for (const row of block.rows) {
        if (samples.length + refused.length >= MAX_READINGS) return { status: 413, wrong: words.readings.tooMany(MAX_READINGS) };
        const goes = destinationOf({ label: row.label, name: splitUnit(row.label).name, unit: row.unit }, choices, points, tank);
        const read = goes.kind !== 'point' ? { pointId: null, reason: words.readings.noPoint(row.pointName, site.id, points.map(({ id }) => id)) }
          : checked(goes.point, { pointId: goes.point.id, atMs: row.atMs, value: row.value, unit: row.unit });
        if ('reason' in read) refuse(row.line, read.pointId, read.reason, `${row.label} ${row.value}`);
        else samples.push(read);
      }
    }
  } catch (error) {
    if (!(error instanceof CsvFileError)) throw error;
    return { status: 400, wrong: `line ${error.line}: ${error.message}` };
  }
  return { samples, refused };
}

/** A message format, with every point under its own id and under the name its source in the fleet file gives it. */
function readFormat(bytes: Uint8Array, format: PayloadFormat, { site, points, arrivedMs }: PostFacts): PostedReadings {
  const fields = points.flatMap((point) => {
    const own = format.options.safeParse({ name: point.id });
    return [
      ...(own.success ? [{ pointId: point.id, options: own.data }] : []),
      ...(point.source?.format === format.format ? [{ pointId: point.id, options: point.source.options }] : []),
    ];
  });
  const decoded = format.prepare(fields)(bytes, { topic: `HTTP ${site.id}`, arrivedMs });
  if (decoded.samples.length > MAX_READINGS) return { status: 413, wrong: words.readings.tooMany(MAX_READINGS) };
  const samples: Sample[] = [];
  const refused: RefusedReading[] = decoded.refusals.map(({ pointId, reason, excerpt }) => ({ index: null, line: null, pointId, reason, excerpt }));
  for (const { name } of (decoded.unread ?? []).slice(0, MAX_UNREAD_TOLD)) refused.push({ index: null, line: null, pointId: null, reason: words.readings.noPoint(name, site.id, points.map(({ id }) => id)), excerpt: name.slice(0, 120) });
  for (const sample of decoded.samples) {
    const point = points.find(({ id }) => id === sample.pointId);
    const read = point === undefined ? { pointId: null, reason: words.readings.noPoint(sample.pointId, site.id, []) } : checked(point, sample);
    if ('reason' in read) refused.push({ index: null, line: null, excerpt: String(sample.value).slice(0, 120), ...read });
    else samples.push(read);
  }
  return { samples, refused };
}
