/** A JSON document with the value of each point at a JSON Pointer. Parsed once per message for all points of the topic. */
import { z } from 'zod';
import type { Refusal, Sample } from '../../src/domain/reading.ts';
import { type Decode, defineFormat, excerpt, type Field } from '../contract.ts';
import { followPointer, parsePointer, writePointer } from '../json-pointer.ts';
import { countOpening, scanJson } from '../json-scan.ts';
import { readScalarText } from '../scalar-text.ts';
import { readSourceTime, timeFormats } from '../source-time.ts';
import { decodeUtf8 } from '../utf8.ts';

/** Deeper than any device nests; bounds the work on a hostile message. */
const MAX_DEPTH = 32;

const pointer = z.string().refine((text) => parsePointer(text) !== null, 'must be a JSON Pointer such as /temperature or /outlets/0/watts (a slash in a key is written ~1, a tilde ~0)');

const options = z.strictObject({
  value: pointer.describe('Where the value stands, as a JSON Pointer (RFC 6901): /temperature, /outlets/0/watts.'),
  time: pointer.optional().describe('Where the time of the measurement stands. Left out, or not in a message: the time of arrival counts.'),
  timeFormat: z.enum(timeFormats).optional().describe('How the time is written: rfc3339 (2024-05-01T08:30:00Z, the default for text), or s, ms, us since 1970 (needed for numbers).'),
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
}

function prepare(fields: readonly Field<Options>[]): Decode {
  const prepared = fields.map(prepareField);
  const only = prepared.length === 1 ? (prepared[0]?.pointId ?? null) : null;
  const quotedTokens = [...new Set(prepared.flatMap(({ value, time, unit }) => [...value, ...(time ?? []), ...(unit ?? [])]))].map((token) => JSON.stringify(token));
  return (bytes, { topic }) => {
    const refusal = (pointId: string | null, reason: string): Refusal => ({ source: topic, pointId, reason, excerpt: excerpt(bytes) });
    const document = parse(bytes, quotedTokens);
    if (!document.ok) return { samples: [], refusals: [refusal(only, document.reason)] };
    const samples: Sample[] = [];
    const refusals: Refusal[] = [];
    for (const field of prepared) {
      const read = readField(field, document.value, document.doubled);
      if (read.ok) samples.push(read.sample);
      else refusals.push(refusal(field.pointId, read.reason));
    }
    return { samples, refusals };
  };
}

function prepareField({ pointId, options: { value, time, timeFormat, unit } }: Field<Options>): Prepared {
  const tokens = (text: string): readonly string[] => {
    const parsed = parsePointer(text);
    if (parsed === null) throw new Error(`point ${pointId}: "${text}" is no JSON Pointer; the options must be checked before prepare`);
    return parsed;
  };
  return { pointId, value: tokens(value), time: time === undefined ? null : tokens(time), unit: unit === undefined ? null : tokens(unit), timeFormat: timeFormat ?? null };
}

type Document =
  | { readonly ok: true; readonly value: unknown; readonly doubled: readonly (readonly string[])[] }
  | { readonly ok: false; readonly reason: string };

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
  if (countOpening(text) <= MAX_DEPTH && !mayHideDoubles(text, quotedTokens)) return { ok: true, value, doubled: [] };
  const { doubled, depth } = scanJson(text);
  if (depth > MAX_DEPTH) return { ok: false, reason: `the message is nested ${depth} deep; at most ${MAX_DEPTH} are read` };
  return { ok: true, value, doubled };
}

/** A key we look for stands twice, or an escape could be hiding one. */
function mayHideDoubles(text: string, quotedTokens: readonly string[]): boolean {
  if (text.includes('\\')) return true;
  return quotedTokens.some((token) => text.indexOf(token, text.indexOf(token) + 1) > text.indexOf(token));
}

type FieldRead = { readonly ok: true; readonly sample: Sample } | { readonly ok: false; readonly reason: string };

function readField(field: Prepared, document: unknown, doubled: readonly (readonly string[])[]): FieldRead {
  const twice = doubled.find((path) => [field.value, field.time, field.unit].some((wanted) => wanted !== null && startsWith(wanted, path)));
  if (twice !== undefined) return refuse(`${writePointer(twice)} stands twice in the message: it cannot be known which one counts`);
  const value = readValue(field, document);
  if (!value.ok) return value;
  const time = readTime(field, document);
  if (!time.ok) return time;
  const unit = readUnit(field, document);
  if (!unit.ok) return unit;
  return { ok: true, sample: { pointId: field.pointId, atMs: time.atMs, value: value.value, unit: unit.unit ?? value.unit } };
}

const refuse = (reason: string): { readonly ok: false; readonly reason: string } => ({ ok: false, reason });
const startsWith = (path: readonly string[], head: readonly string[]): boolean => head.every((token, index) => path[index] === token);

function readValue(field: Prepared, document: unknown) {
  const found = followPointer(document, field.value);
  const where = writePointer(field.value) || 'the message';
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
      return refuse(`the message has nothing at ${where}${whatIsThere(document)}`);
    default:
      return refuse(found === null ? `${where} is null: no value was sent` : `${where} is ${Array.isArray(found) ? 'a list' : 'an object'}, not a value${whatIsThere(found, where)}`);
  }
}

/** Absent or null: the source gave no time. Present and unreadable: refused, for a wrong time is worse than none. */
function readTime(field: Prepared, document: unknown) {
  const found = field.time === null ? undefined : followPointer(document, field.time);
  if (field.time === null || found === undefined || found === null) return { ok: true as const, atMs: null };
  const where = writePointer(field.time) || 'the message';
  if (typeof found !== 'number' && typeof found !== 'string') return refuse(`${where} is no time`);
  const read = readSourceTime(found, field.timeFormat ?? null);
  return read.ok ? read : refuse(`${where}: ${read.reason}`);
}

function readUnit(field: Prepared, document: unknown) {
  const found = field.unit === null ? undefined : followPointer(document, field.unit);
  if (field.unit === null || found === undefined || found === null) return { ok: true as const, unit: null };
  if (typeof found !== 'string' || found.length > 16) return refuse(`${writePointer(field.unit) || 'the message'} is no unit`);
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
