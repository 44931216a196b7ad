/** What values a message nobody reads yet could hold: for showing them, and for offering them to be claimed. */
import type { MessageTime, ValuePlace } from '../src/domain/unclaimed.ts';
import { writePointer } from './json-pointer.ts';
import { parseRfc3339 } from './rfc3339.ts';
import { readScalarText } from './scalar-text.ts';
import { senmlFields } from './senml-fields.ts';
import { parseAddress } from './sparkplug-address.ts';
import { keptFields } from './sparkplug-kept.ts';
import { decodeUtf8 } from './utf8.ts';

export interface MessageField {
  /** Of SenML always with the unit that the record says. */
  readonly place: ValuePlace;
  readonly value: number | boolean | string;
  /** Unit written behind the number, or beside it under a key such as `unit`. */
  readonly unit: string | null;
  /** Pointer of that key. */
  readonly unitPointer: string | null;
  /** Time the message gives for this value alone; `null`: none of its own. */
  readonly atMs: number | null;
}

export interface MessageFields {
  /** Where one value comes several times, newest first. */
  readonly fields: readonly MessageField[];
  /** Where the document tells its time; `null`: nowhere that can be read for sure. */
  readonly time: MessageTime | null;
}

const MAX_FIELDS = 40;
const MAX_DEPTH = 6;
const MAX_KEYS = 60;
const nothing: MessageFields = { fields: [], time: null };

/**
 * @param topic the address of a Sparkplug gateway or device holds what its session kept (`sparkplug-kept.ts`).
 * @param arrivedMs tells seconds from milliseconds: a number is taken for a time only when it says about now.
 */
export function messageFields(topic: string, bytes: Uint8Array, arrivedMs: number): MessageFields {
  if (!('problem' in parseAddress(topic))) return { fields: keptFields(bytes), time: null };
  const senml = senmlFields(bytes, arrivedMs);
  if (senml !== null) return { fields: senml, time: null };
  const text = decodeUtf8(bytes);
  if (text === null) return nothing;
  if (!/^\s*[{[]/.test(text)) {
    const read = readScalarText(text);
    return read.ok ? { fields: [{ place: { format: 'number' }, value: read.value, unit: read.unit, unitPointer: null, atMs: null }], time: null } : nothing;
  }
  let document: unknown;
  try {
    document = JSON.parse(text);
  } catch {
    // Shown as it came; there is nothing in it to offer.
    return nothing;
  }
  const found: { fields: MessageField[]; time: MessageTime | null } = { fields: [], time: null };
  walk(document, [], arrivedMs, found);
  return found;
}

function walk(value: unknown, path: readonly string[], arrivedMs: number, found: { fields: MessageField[]; time: MessageTime | null }): void {
  if (typeof value !== 'object' || value === null || path.length >= MAX_DEPTH) return;
  const unitKey = Object.keys(value).find((key) => /^(unit|units|uom)$/i.test(key) && typeof (value as Readonly<Record<string, unknown>>)[key] === 'string');
  const unit = unitKey === undefined ? null : String((value as Readonly<Record<string, unknown>>)[unitKey]).trim();
  for (const [key, inner] of Object.entries(value).slice(0, MAX_KEYS)) {
    const at = [...path, key];
    if (typeof inner === 'object') {
      walk(inner, at, arrivedMs, found);
      continue;
    }
    const format = /time|stamp|date|^ts$|^t$/i.test(key) ? timeFormatOf(inner, arrivedMs) : null;
    if (format !== null) {
      found.time ??= { pointer: writePointer(at), format };
      continue;
    }
    if (found.fields.length >= MAX_FIELDS || key === unitKey || /^(id|name|serial|mac|version|fw|firmware)$/i.test(key)) continue;
    const read = scalarOf(inner);
    if (read !== null) found.fields.push({ place: { format: 'json', pointer: writePointer(at) }, atMs: null, value: read.value, unit: read.unit ?? unit, unitPointer: read.unit === null && unitKey !== undefined ? writePointer([...path, unitKey]) : null });
  }
}

function scalarOf(value: unknown): { readonly value: number | boolean | string; readonly unit: string | null } | null {
  if (typeof value === 'boolean') return { value, unit: null };
  // JSON.parse makes Infinity of 1e999.
  if (typeof value === 'number') return Number.isFinite(value) ? { value, unit: null } : null;
  if (typeof value !== 'string') return null;
  const read = readScalarText(value);
  return read.ok ? { value: read.value, unit: read.unit } : null;
}

const perMs = { s: 1000, ms: 1, us: 0.001 } as const;
const ABOUT_NOW_MS = 2 * 24 * 3_600_000;

function timeFormatOf(value: unknown, arrivedMs: number): MessageTime['format'] | null {
  if (typeof value === 'string') return parseRfc3339(value).ok ? 'rfc3339' : null;
  if (typeof value !== 'number') return null;
  return (['s', 'ms', 'us'] as const).find((format) => Math.abs(value * perMs[format] - arrivedMs) < ABOUT_NOW_MS) ?? null;
}
