/**
 * A SenML pack (RFC 8428), from its bytes to resolved records: base values added, times made absolute, names checked, in order of time.
 * JSON and CBOR are told apart by the first byte: a JSON pack begins with "[", a CBOR pack with a list (0x80–0x9f).
 */
import { type CborValue, readCbor } from './cbor.ts';
import { scanJson } from './json-scan.ts';
import { decodeUtf8 } from './utf8.ts';

export interface SenmlRecord {
  readonly name: string;
  /** As in the SenML registry; `null`: neither the record nor a base unit names one. */
  readonly unit: string | null;
  /** `null`: the record gives no time; it is of now. */
  readonly atMs: number | null;
  /** `null` where the record has a sum only. */
  readonly value: number | boolean | string | { readonly data: true } | null;
  readonly sum: number | null;
  /** At most so long until the next record of this name. */
  readonly nextWithinMs: number | null;
}

export type SenmlPack =
  | { readonly ok: true; readonly records: readonly SenmlRecord[]; /** Records that could not be read, as "record 3: …". */ readonly problems: readonly string[] }
  | { readonly ok: false; readonly reason: string };

/** The version of RFC 8428 (§4.4). */
const VERSION = 10;
/** Times below are relative to now (RFC 8428 §4.5.3): 2^28 s, about 8.5 years. */
const RELATIVE_BELOW_SECONDS = 2 ** 28;
const MAX_RECORDS = 5000;
/** A pack is a list of flat records. */
const MAX_DEPTH = 8;

/** RFC 8428 §6, table 4. */
const labels: Readonly<Record<number, Label>> = { [-2]: 'bn', [-3]: 'bt', [-4]: 'bu', [-5]: 'bv', [-6]: 'bs', [-1]: 'bver', 0: 'n', 1: 'u', 2: 'v', 3: 'vs', 4: 'vb', 5: 's', 6: 't', 7: 'ut', 8: 'vd' };
type Label = 'bn' | 'bt' | 'bu' | 'bv' | 'bs' | 'bver' | 'n' | 'u' | 'v' | 'vs' | 'vb' | 'vd' | 's' | 't' | 'ut';
type Written = ReadonlyMap<string, unknown>;

/** @param arrivedMs what relative times count from. */
export function readSenml(bytes: Uint8Array, arrivedMs: number): SenmlPack {
  const read = (bytes[0] ?? 0) >> 5 === 4 || isSelfDescribed(bytes) ? recordsOfCbor(bytes) : recordsOfJson(bytes);
  if (!read.ok) return read;
  if (read.records.length > MAX_RECORDS) return refuse(`the pack has ${read.records.length} records; at most ${MAX_RECORDS} are read: send it in parts`);
  const objection = packObjection(read.records);
  return objection === null ? resolve(read.records, arrivedMs) : refuse(objection);
}

const refuse = (reason: string): { readonly ok: false; readonly reason: string } => ({ ok: false, reason });

/** RFC 8949 §3.4.6. */
const isSelfDescribed = (bytes: Uint8Array): boolean => bytes[0] === 0xd9 && bytes[1] === 0xd9 && bytes[2] === 0xf7;

type Records = { readonly ok: true; readonly records: readonly Written[] } | { readonly ok: false; readonly reason: string };

function recordsOfJson(bytes: Uint8Array): Records {
  const text = decodeUtf8(bytes);
  if (text === null) return refuse('the message is neither UTF-8 text nor a CBOR list');
  if (text.trim() === '') return refuse('the message is empty');
  let pack: unknown;
  try {
    pack = JSON.parse(text);
  } catch {
    // JSON.parse throws nothing but a SyntaxError here; what matters is told below.
    return refuse('the message is no valid JSON; a SenML pack looks like [{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]');
  }
  if (!Array.isArray(pack)) return refuse('the message is no SenML pack: a pack is a list of records, [{…}, …]');
  const { doubled, depth } = scanJson(text);
  if (depth > MAX_DEPTH) return refuse(`the message is nested ${depth} deep, and SenML records are flat`);
  const [twice] = doubled;
  if (twice !== undefined) return refuse(`"${twice.at(-1)}" stands twice in one record: it cannot be known which one counts`);
  const odd = pack.findIndex((record) => typeof record !== 'object' || record === null || Array.isArray(record));
  if (odd >= 0) return refuse(`record ${odd + 1} is no object; a record looks like {"n":"…","v":23.1}`);
  return { ok: true, records: pack.map((record: object) => new Map(Object.entries(record))) };
}

function recordsOfCbor(bytes: Uint8Array): Records {
  const read = readCbor(bytes);
  if (!read.ok) return read;
  if (!Array.isArray(read.value)) return refuse('the message is no SenML pack: a pack is a list of records');
  const records: Written[] = [];
  for (const [index, record] of (read.value as readonly CborValue[]).entries()) {
    if (!(record instanceof Map)) return refuse(`record ${index + 1} is no map`);
    const written = new Map<string, unknown>();
    for (const [key, value] of record as ReadonlyMap<number | string, CborValue>) {
      const label = typeof key === 'string' ? key : labels[key];
      // A number that is no label of RFC 8428 is an extension that may be ignored (§4.4).
      if (label === undefined) continue;
      if (written.has(label)) return refuse(`record ${index + 1} has "${label}" both as a number and as a text`);
      written.set(label, value);
    }
    records.push(written);
  }
  return { ok: true, records };
}

/** What makes the whole pack unreadable (RFC 8428 §4.4). */
function packObjection(records: readonly Written[]): string | null {
  let version: unknown;
  for (const [index, record] of records.entries()) {
    for (const label of record.keys()) {
      if (label.endsWith('_')) return `record ${index + 1} has "${label.slice(0, 40)}", which must be understood to read the pack (RFC 8428 §4.4), and is not`;
    }
    const given = record.get('bver');
    if (given === undefined) continue;
    if (typeof given !== 'number' || !Number.isInteger(given) || given < 1) return `record ${index + 1}: "bver" is no version number`;
    if (given > VERSION) return `the pack is of SenML version ${given}; versions up to ${VERSION} are read`;
    if (version !== undefined && version !== given) return `the pack mixes SenML versions ${String(version)} and ${given}`;
    version = given;
  }
  return null;
}

interface Base {
  name: string;
  time: number;
  unit: string | null;
  value: number | null;
  sum: number | null;
}

function resolve(written: readonly Written[], arrivedMs: number): SenmlPack {
  const base: Base = { name: '', time: 0, unit: null, value: null, sum: null };
  const records: SenmlRecord[] = [];
  const problems: string[] = [];
  for (const [index, record] of written.entries()) {
    const resolved = resolveRecord(record, base, arrivedMs);
    if (typeof resolved === 'string') problems.push(`record ${index + 1}: ${resolved}`);
    else if (resolved !== null) records.push(resolved);
  }
  const time = ({ atMs }: SenmlRecord): number => atMs ?? arrivedMs;
  // Stable: records of one instant stay in the order in which they were sent.
  return { ok: true, records: records.sort((a, b) => time(a) - time(b)), problems };
}

/** @returns what is wrong with the record, or `null` when it carries base values only. A base value counts from here on even in a bad record. */
function resolveRecord(record: Written, base: Base, arrivedMs: number): SenmlRecord | string | null {
  const wrong = takeBase(record, base);
  if (wrong !== null) return wrong;
  const values = (['v', 'vs', 'vb', 'vd'] as const).filter((label) => record.has(label));
  const own = (['n', 'u', 't', 'ut', 's'] as const).filter((label) => record.has(label));
  if (values.length === 0 && own.length === 0) return null;
  if (values.length > 1) return `has ${values.map((label) => `"${label}"`).join(' and ')}; a record has one value`;
  if (values.length === 0 && !record.has('s')) return 'has no value';

  const name = base.name + (textOf(record, 'n') ?? '');
  const ownName = record.get('n');
  if (ownName !== undefined && typeof ownName !== 'string') return '"n" is no text';
  if (!/^[A-Za-z0-9][A-Za-z0-9\-:./_]*$/.test(name)) return name === '' ? 'has no name' : `"${name.slice(0, 80)}" is no SenML name: letters, digits and - : . / _ only, and a letter or digit first`;
  const ownUnit = record.get('u');
  if (ownUnit !== undefined && typeof ownUnit !== 'string') return '"u" is no text';
  const time = numberOf(record, 't');
  const updateSeconds = numberOf(record, 'ut');
  const number = numberOf(record, 'v');
  const sum = numberOf(record, 's');
  for (const [label, value] of [['t', time], ['ut', updateSeconds], ['v', number], ['s', sum]] as const) {
    if (value === undefined) return `"${label}" is no number`;
  }
  const at = timeOf(base.time + (time ?? 0), arrivedMs);
  if (at === undefined) return `time ${base.time + (time ?? 0)} is out of all bounds`;
  const value = valueOf(record, number ?? null, base);
  if (typeof value === 'object' && value !== null && 'wrong' in value) return value.wrong;
  return {
    name, unit: ownUnit ?? base.unit, atMs: at, value,
    // + 0 turns -0 into 0.
    sum: sum === null || sum === undefined ? null : (base.sum ?? 0) + sum + 0,
    // Nobody can promise less than a millisecond: that is none.
    nextWithinMs: typeof updateSeconds === 'number' && updateSeconds >= 0.001 ? Math.round(updateSeconds * 1000) : null,
  };
}

function takeBase(record: Written, base: Base): string | null {
  let wrong: string | null = null;
  const name = record.get('bn');
  if (typeof name === 'string') base.name = name;
  else if (name !== undefined) wrong = '"bn" is no text';
  const unit = record.get('bu');
  if (typeof unit === 'string') base.unit = unit;
  else if (unit !== undefined) wrong = '"bu" is no text';
  for (const [label, field] of [['bt', 'time'], ['bv', 'value'], ['bs', 'sum']] as const) {
    const number = numberOf(record, label);
    if (typeof number === 'number') base[field] = number;
    else if (number === undefined) wrong = `"${label}" is no number`;
  }
  return wrong;
}

const textOf = (record: Written, label: Label): string | null => {
  const value = record.get(label);
  return typeof value === 'string' ? value : null;
};

/** `null`: not there; `undefined`: no number. */
function numberOf(record: Written, label: Label): number | null | undefined {
  const value = record.get(label);
  if (value === undefined && !record.has(label)) return null;
  return typeof value === 'number' && Number.isFinite(value) ? value : undefined;
}

/** `null`: now; `undefined`: no time at all. */
function timeOf(seconds: number, arrivedMs: number): number | null | undefined {
  if (seconds === 0) return null;
  // Rounded once, at the end: 1276020076.001 − 5 is 1276020071.001 only to the millisecond.
  const atMs = seconds < RELATIVE_BELOW_SECONDS ? arrivedMs + Math.round(seconds * 1000) : Math.round(seconds * 1000);
  return Number.isSafeInteger(atMs) ? atMs : undefined;
}

function valueOf(record: Written, number: number | null, base: Base): SenmlRecord['value'] | { readonly wrong: string } {
  if (number !== null) {
    const value = (base.value ?? 0) + number + 0;
    return Number.isFinite(value) ? value : { wrong: 'the value is too large for a number' };
  }
  if (record.has('vs')) return textOf(record, 'vs') ?? { wrong: '"vs" is no text' };
  if (record.has('vb')) {
    const value = record.get('vb');
    return typeof value === 'boolean' ? value : { wrong: '"vb" is neither true nor false' };
  }
  return record.has('vd') ? { data: true } : null;
}
