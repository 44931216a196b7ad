/** A JSON document with the value of each point at a JSON Pointer, or a list of samples in it. Parsed once per message for all points of the topic. */
import { z } from 'zod';
import type { Sample } from '../../src/domain/reading.ts';
import { type Decode, defineFormat, excerpt, type Field } from '../contract.ts';
import { RefusalList } from '../fold-refusals.ts';
import { followPointer, parsePointer, writePointer } from '../json-pointer.ts';
import { countOpening, scanJson } from '../json-scan.ts';
import { readScalarText } from '../scalar-text.ts';
import { readSourceTime, timeFormats } from '../source-time.ts';
import { decodeUtf8 } from '../utf8.ts';

/** Deeper than any device nests; bounds the work on a hostile message. */
const MAX_DEPTH = 32;
const MAX_SAMPLES = 5000;

const pointer = z.string().refine((text) => parsePointer(text) !== null, 'must be a JSON Pointer such as /temperature or /outlets/0/watts (a slash in a key is written ~1, a tilde ~0)');

const options = z.strictObject({
  value: pointer.describe('Where the value stands, as a JSON Pointer (RFC 6901): /temperature, /outlets/0/watts.'),
  time: pointer.optional().describe('Where the time of the measurement stands. Left out, or not in a message: the time of arrival counts.'),
  timeFormat: z.enum(timeFormats).optional().describe('How the time is written: rfc3339 (2024-05-01T08:30:00Z, the default for text), or s, ms, us since 1970 (needed for numbers).'),
  samples: pointer.optional().describe('Where a list of samples stands, when a message carries several: /readings. "value", "time" and "unit" are then looked for in each of them.'),
  unit: pointer.optional().describe('Where the message itself names the unit of the value; it overrides the unit in the fleet file.'),
});
type Options = z.infer<typeof options>;

export default defineFormat<Options>({
  format: 'json',
  looksLike: 'A JSON document such as {"temperature": 25.4, "time": "2024-05-01T08:30:00Z"}, with value: /temperature and, if sent, time: /time.',
  options,
  prepare,
});

interface Prepared {
  readonly pointId: string;
  readonly value: readonly string[];
  readonly time: readonly string[] | null;
  readonly unit: readonly string[] | null;
  readonly timeFormat: Options['timeFormat'] | null;
  readonly samples: readonly string[] | null;
}

function prepare(fields: readonly Field<Options>[]): Decode {
  const prepared = fields.map(prepareField);
  const only = prepared.length === 1 ? (prepared[0]?.pointId ?? null) : null;
  const quotedTokens = [...new Set(prepared.flatMap(({ value, time, unit, samples }) => [...value, ...(time ?? []), ...(unit ?? []), ...(samples ?? [])]))].map((token) => JSON.stringify(token));
  return (bytes, { topic }) => {
    const document = parse(bytes, quotedTokens);
    const plain = document.ok && document.doubled.length === 0 ? readPlain(prepared, document.value) : null;
    if (plain !== null) return { samples: plain, refusals: none };
    const refusals = new RefusalList(topic, () => excerpt(bytes));
    if (!document.ok) {
      refusals.add(only, document.reason);
      return { samples: [], refusals: refusals.list };
    }
    const samples: Sample[] = [];
    for (const field of prepared) {
      const reads = field.samples === null ? [readField(field, document.value, document.doubled)] : readSamples(field, field.samples, document);
      const good: Sample[] = [];
      for (const read of reads) {
        if (read.ok) good.push(read.sample);
        else refusals.add(field.pointId, read.reason);
      }
      // A device may list its newest first; what is judged is judged in the order in which it happened.
      samples.push(...good.sort((a, b) => (a.atMs ?? 0) - (b.atMs ?? 0)));
    }
    return { samples, refusals: refusals.list };
  };
}

const none: readonly never[] = [];

/**
 * The common case without detours: numbers, with times in milliseconds or none. Anything else gives `null` and takes the long way, which
 * knows what to say about it.
 */
function readPlain(fields: readonly Prepared[], document: unknown): readonly Sample[] | null {
  const [only] = fields;
  if (fields.length === 1 && only !== undefined) {
    const sample = readPlainField(only, document);
    return sample === null ? null : [sample];
  }
  const samples: Sample[] = [];
  for (const field of fields) {
    const sample = readPlainField(field, document);
    if (sample === null) return null;
    samples.push(sample);
  }
  return samples;
}

function readPlainField({ pointId, value, time, timeFormat, unit, samples: list }: Prepared, document: unknown): Sample | null {
  if (unit !== null || list !== null) return null;
  const found = followPointer(document, value);
  if (typeof found !== 'number' || !Number.isFinite(found)) return null;
  if (time === null) return { pointId, atMs: null, value: found + 0, unit: null };
  const stamp = followPointer(document, time);
  if (timeFormat !== 'ms' || typeof stamp !== 'number' || !Number.isSafeInteger(stamp) || stamp < PLAIN_FROM_MS || stamp >= PLAIN_TO_MS) return null;
  return { pointId, atMs: stamp, value: found + 0, unit: null };
}

const PLAIN_FROM_MS = Date.UTC(2000, 0, 1);
const PLAIN_TO_MS = Date.UTC(2100, 0, 1);

function prepareField({ pointId, options: { value, time, timeFormat, unit, samples } }: Field<Options>): Prepared {
  const tokens = (text: string): readonly string[] => {
    const parsed = parsePointer(text);
    if (parsed === null) throw new Error(`point ${pointId}: "${text}" is no JSON Pointer; the options must be checked before prepare`);
    return parsed;
  };
  return { pointId, value: tokens(value), time: time === undefined ? null : tokens(time), unit: unit === undefined ? null : tokens(unit), timeFormat: timeFormat ?? null, samples: samples === undefined ? null : tokens(samples) };
}

type Document =
  | { readonly ok: true; readonly value: unknown; readonly doubled: readonly (readonly string[])[] }
  | { readonly ok: false; readonly reason: string };

type Parsed = Extract<Document, { ok: true }>;

function parse(bytes: Uint8Array, quotedTokens: readonly string[]): Document {
  const text = decodeUtf8(bytes);
  if (text === null) return { ok: false, reason: 'the message is not UTF-8 text' };
  if (text.trim() === '') return { ok: false, reason: 'the message is empty' };
  let value: unknown;
  try {
    value = JSON.parse(text);
  } catch (error) {
    const where = error instanceof Error ? (/position (\d+)/.exec(error.message)?.[1] ?? null) : null;
    const hint = /\bNaN\b|\bInfinity\b/.test(text) ? '; NaN and Infinity are no JSON: send null, or leave the key out' : '';
    return { ok: false, reason: `the message is no valid JSON${where === null ? '' : ` (character ${Number(where) + 1})`}${hint}` };
  }
  if (countOpening(text) <= MAX_DEPTH && !mayHideDoubles(text, quotedTokens)) return { ok: true, value, doubled: none };
  const { doubled, depth } = scanJson(text);
  if (depth > MAX_DEPTH) return { ok: false, reason: `the message is nested ${depth} deep; at most ${MAX_DEPTH} are read` };
  return { ok: true, value, doubled };
}

/** A key we look for stands twice, or an escape could be hiding one. */
function mayHideDoubles(text: string, quotedTokens: readonly string[]): boolean {
  if (text.includes('\\')) return true;
  for (const token of quotedTokens) {
    const first = text.indexOf(token);
    if (first >= 0 && text.includes(token, first + 1)) return true;
  }
  return false;
}

type FieldRead = { readonly ok: true; readonly sample: Sample } | { readonly ok: false; readonly reason: string };

/** Each element of the list is read as a document of its own. */
function readSamples(field: Prepared, at: readonly string[], document: Parsed): readonly FieldRead[] {
  const list = followPointer(document.value, at);
  const where = writePointer(at) || 'the message';
  if (list === undefined) return [refuse(`the message has nothing at ${where}${whatIsThere(document.value)}`)];
  if (!Array.isArray(list)) return [refuse(`${where} is no list of samples`)];
  if (list.length === 0) return [refuse(`${where} is an empty list: no sample was sent`)];
  if (list.length > MAX_SAMPLES) return [refuse(`${where} holds ${list.length} samples; at most ${MAX_SAMPLES} are read: send them in parts`)];
  if (document.doubled.some((path) => startsWith(at, path))) return [refuse(`${where} stands twice in the message: it cannot be known which one counts`)];
  const doubledIn = new Map<string, (readonly string[])[]>();
  for (const path of document.doubled) {
    const index = path[at.length];
    if (index !== undefined && startsWith(path, at)) doubledIn.set(index, [...(doubledIn.get(index) ?? []).slice(0, 20), path.slice(at.length + 1)]);
  }
  return list.map((element: unknown, index) => {
    const read = readField(field, element, doubledIn.get(String(index)) ?? [], 'a sample');
    return read.ok && read.sample.atMs === null && list.length > 1 ? refuse('a sample has no time, and several cannot all be of now; send the time of each (time: /…)') : read;
  });
}

function readField(field: Prepared, document: unknown, doubled: readonly (readonly string[])[], whole = 'the message'): FieldRead {
  const twice = doubled.find((path) => [field.value, field.time, field.unit].some((wanted) => wanted !== null && startsWith(wanted, path)));
  if (twice !== undefined) return refuse(`${writePointer(twice)} stands twice in ${whole}: it cannot be known which one counts`);
  const value = readValue(field, document, whole);
  if (!value.ok) return value;
  const time = readTime(field, document, whole);
  if (!time.ok) return time;
  const unit = readUnit(field, document, whole);
  if (!unit.ok) return unit;
  return { ok: true, sample: { pointId: field.pointId, atMs: time.atMs, value: value.value, unit: unit.unit ?? value.unit } };
}

const refuse = (reason: string): { readonly ok: false; readonly reason: string } => ({ ok: false, reason });
const startsWith = (path: readonly string[], head: readonly string[]): boolean => head.every((token, index) => path[index] === token);

function readValue(field: Prepared, document: unknown, whole: string) {
  const found = followPointer(document, field.value);
  const where = writePointer(field.value) || whole;
  switch (typeof found) {
    case 'number':
      return Number.isFinite(found) ? { ok: true as const, value: found + 0, unit: null } : refuse(`${where} is too large for a number`);
    case 'boolean':
      return { ok: true as const, value: found, unit: null };
    case 'string': {
      const read = readScalarText(found);
      return read.ok ? read : refuse(`${where} ${read.reason}`);
    }
    case 'undefined':
      return refuse(`${whole} has nothing at ${where}${whatIsThere(document)}`);
    default:
      return refuse(found === null ? `${where} is null: no value was sent` : `${where} is ${Array.isArray(found) ? 'a list' : 'an object'}, not a value${whatIsThere(found, where)}`);
  }
}

/** Absent or null: the source gave no time. Present and unreadable: refused, for a wrong time is worse than none. */
function readTime(field: Prepared, document: unknown, whole: string) {
  const found = field.time === null ? undefined : followPointer(document, field.time);
  if (field.time === null || found === undefined || found === null) return { ok: true as const, atMs: null };
  const where = writePointer(field.time) || whole;
  if (typeof found !== 'number' && typeof found !== 'string') return refuse(`${where} is no time`);
  const read = readSourceTime(found, field.timeFormat ?? null);
  return read.ok ? read : refuse(`${where}: ${read.reason}`);
}

function readUnit(field: Prepared, document: unknown, whole: string) {
  const found = field.unit === null ? undefined : followPointer(document, field.unit);
  if (field.unit === null || found === undefined || found === null) return { ok: true as const, unit: null };
  if (typeof found !== 'string' || found.length > 16) return refuse(`${writePointer(field.unit) || whole} is no unit`);
  return { ok: true as const, unit: found.trim() };
}

/** The first few places that do exist, so that a wrong pointer can be put right at a glance. */
function whatIsThere(container: unknown, prefix = ''): string {
  if (typeof container !== 'object' || container === null) return '';
  const keys = Object.keys(container);
  if (keys.length === 0) return '; it is empty';
  const shown = keys.slice(0, 6).map((key) => (prefix === 'the message' ? '' : prefix) + writePointer([key.slice(0, 40)]));
  return `; there is ${shown.join(', ')}${keys.length > shown.length ? ', …' : ''}`;
}
