/**
 * The payload of a Sparkplug B message (Eclipse Sparkplug 3.0.0, chapter 6), from its protobuf bytes: the few fields that readings need.
 * The bytes are read with protobufjs' reader, which holds every length against the end of the message; what they mean is written here, so that
 * no schema is compiled at run time. (The package `sparkplug-payload` would bring a protobufjs that is two majors old; the tests use it as
 * a second opinion.)
 */
import protobuf from 'protobufjs/minimal.js';
import { decodeUtf8 } from './utf8.ts';

export interface SparkplugPayload {
  readonly timestampMs: number | null;
  readonly seq: number | null;
  readonly metrics: readonly SparkplugMetric[];
}

export interface SparkplugMetric {
  readonly name: string | null;
  /** An unsigned 64-bit number as text: only compared, never reckoned with. */
  readonly alias: string | null;
  readonly timestampMs: number | null;
  readonly datatype: number | null;
  readonly isHistorical: boolean;
  readonly isNull: boolean;
  /** The value as it stands on the wire; what it is, the datatype says. `null`: none of the kinds that a reading can have. */
  readonly raw: RawValue | null;
}

export type RawValue = { readonly type: 'integer'; readonly value: bigint } | { readonly type: 'float' | 'double'; readonly value: number } | { readonly type: 'boolean'; readonly value: boolean } | { readonly type: 'text'; readonly value: string };

export type PayloadRead = { readonly ok: true; readonly payload: SparkplugPayload } | { readonly ok: false; readonly reason: string };

const MAX_METRICS = 5000;

class BadPayload extends Error {
  override readonly name = 'BadPayload';
}

export function readPayload(bytes: Uint8Array): PayloadRead {
  try {
    return { ok: true, payload: payloadOf(protobuf.Reader.create(bytes)) };
  } catch (error) {
    // The reader throws RangeError and Error for whatever the bytes do wrong, and nothing else.
    return { ok: false, reason: error instanceof BadPayload ? error.message : 'the message is no Sparkplug B payload (its protobuf cannot be read)' };
  }
}

function payloadOf(reader: protobuf.Reader): SparkplugPayload {
  let timestampMs: number | null = null;
  let seq: number | null = null;
  const metrics: SparkplugMetric[] = [];
  while (reader.pos < reader.len) {
    const tag = reader.uint32();
    switch (tag) {
      case key(1, VARINT):
        timestampMs = Number(bigint(reader));
        break;
      case key(2, BYTES):
        if (metrics.length >= MAX_METRICS) throw new BadPayload(`the message has more than ${MAX_METRICS} metrics; send them in parts`);
        metrics.push(metricOf(reader, end(reader)));
        break;
      case key(3, VARINT):
        seq = Number(bigint(reader));
        break;
      default:
        reader.skipType(tag & 7);
    }
  }
  return { timestampMs, seq, metrics };
}

function metricOf(reader: protobuf.Reader, endAt: number): SparkplugMetric {
  let name: string | null = null;
  let alias: string | null = null;
  let timestampMs: number | null = null;
  let datatype: number | null = null;
  let isHistorical = false;
  let isNull = false;
  let raw: RawValue | null = null;
  while (reader.pos < endAt) {
    const tag = reader.uint32();
    switch (tag) {
      case key(1, BYTES):
        name = text(reader);
        break;
      case key(2, VARINT):
        alias = String(bigint(reader));
        break;
      case key(3, VARINT):
        timestampMs = Number(bigint(reader));
        break;
      case key(4, VARINT):
        datatype = reader.uint32();
        break;
      case key(5, VARINT):
        isHistorical = reader.bool();
        break;
      case key(7, VARINT):
        isNull = reader.bool();
        break;
      case key(10, VARINT):
      case key(11, VARINT):
        raw = { type: 'integer', value: bigint(reader) };
        break;
      case key(12, FIXED32):
        raw = { type: 'float', value: reader.float() };
        break;
      case key(13, FIXED64):
        raw = { type: 'double', value: reader.double() };
        break;
      case key(14, VARINT):
        raw = { type: 'boolean', value: reader.bool() };
        break;
      case key(15, BYTES):
        raw = { type: 'text', value: text(reader) };
        break;
      default:
        reader.skipType(tag & 7);
    }
    if (reader.pos > endAt) throw new BadPayload('the message is no Sparkplug B payload (a metric runs over its own end)');
  }
  return { name, alias, timestampMs, datatype, isHistorical, isNull, raw };
}

/** Wire types of protobuf. */
const VARINT = 0;
const FIXED64 = 1;
const BYTES = 2;
const FIXED32 = 5;
const key = (field: number, wireType: number): number => (field << 3) | wireType;

function end(reader: protobuf.Reader): number {
  const endAt = reader.uint32() + reader.pos;
  if (endAt > reader.len) throw new BadPayload('the message is cut off');
  return endAt;
}

/** Longer than any name or word a reading carries. */
const MAX_TEXT_BYTES = 1024;

function text(reader: protobuf.Reader): string {
  const bytes = reader.bytes();
  const read = bytes.length > MAX_TEXT_BYTES ? '' : decodeUtf8(bytes);
  if (read === null) throw new BadPayload('the message holds a text that is not UTF-8');
  return read;
}

function bigint(reader: protobuf.Reader): bigint {
  const value = reader.uint64();
  if (typeof value === 'number') return BigInt(value);
  return (BigInt(value.high >>> 0) << 32n) | BigInt(value.low >>> 0);
}

/** Chapter 6, "Datatypes". */
export const datatypeNames: Readonly<Record<number, string>> = {
  1: 'Int8', 2: 'Int16', 3: 'Int32', 4: 'Int64', 5: 'UInt8', 6: 'UInt16', 7: 'UInt32', 8: 'UInt64', 9: 'Float', 10: 'Double', 11: 'Boolean', 12: 'String', 13: 'DateTime',
  14: 'Text', 15: 'UUID', 16: 'DataSet', 17: 'Bytes', 18: 'File', 19: 'Template', 20: 'PropertySet', 21: 'PropertySetList',
};
const signedBits: Readonly<Record<number, number>> = { 1: 8, 2: 16, 3: 32, 4: 64 };
const unsignedBits: Readonly<Record<number, number>> = { 5: 8, 6: 16, 7: 32, 8: 64 };

export type MetricValue = { readonly ok: true; readonly value: number | boolean | string } | { readonly ok: false; readonly reason: string };

/**
 * @param datatype of the birth, unless the metric itself says. Negative integers stand as two's complement (from memory), in as many bits as the sender
 * liked: the low ones of the datatype count.
 */
export function metricValue({ raw }: Pick<SparkplugMetric, 'raw'>, datatype: number | null): MetricValue {
  const name = datatypeNames[datatype ?? 0] ?? `number ${datatype}`;
  if (raw === null) return refuse(datatype !== null && (datatype >= 16 || datatype === 0) ? `datatype ${name} is no single value` : 'no value was sent, and it was not said to be null');
  switch (raw.type) {
    case 'boolean':
      return { ok: true, value: raw.value };
    case 'text':
      return raw.value === '' ? refuse('the text is empty, or longer than 1024 bytes') : { ok: true, value: raw.value };
    case 'float':
      return Number.isFinite(raw.value) ? { ok: true, value: asWritten(raw.value) + 0 } : refuse(`${raw.value} is no value; send is_null when nothing was measured`);
    case 'double':
      return Number.isFinite(raw.value) ? { ok: true, value: raw.value + 0 } : refuse(`${raw.value} is no value; send is_null when nothing was measured`);
    case 'integer': {
      const signed = signedBits[datatype ?? 0];
      const unsigned = unsignedBits[datatype ?? 0];
      if (signed !== undefined) return { ok: true, value: Number(BigInt.asIntN(signed, raw.value)) };
      if (unsigned !== undefined) return { ok: true, value: Number(BigInt.asUintN(unsigned, raw.value)) };
      if (datatype === 11) return { ok: true, value: raw.value !== 0n };
      return refuse(datatype === null ? 'an integer without a datatype: whether it has a sign cannot be known' : `datatype ${name} is no single value`);
    }
  }
}

const refuse = (reason: string): MetricValue => ({ ok: false, reason });

/** The shortest decimal that is this single-precision number: 25.1, not 25.100000381469727. */
function asWritten(single: number): number {
  for (let digits = 6; digits < 9; digits += 1) {
    const rounded = Number(single.toPrecision(digits));
    if (Math.fround(rounded) === single) return rounded;
  }
  return Number(single.toPrecision(9));
}

/** NCMD payload that asks an edge node to send all its births again. */
export function rebirthCommand(atMs: number): Uint8Array {
  const metric = protobuf.Writer.create()
    .uint32(key(1, BYTES)).string('Node Control/Rebirth')
    .uint32(key(3, VARINT)).uint64(atMs)
    .uint32(key(4, VARINT)).uint32(11)
    .uint32(key(14, VARINT)).bool(true)
    .finish();
  return protobuf.Writer.create().uint32(key(1, VARINT)).uint64(atMs).uint32(key(2, BYTES)).bytes(metric).finish();
}

/** A metric by its name, as in a birth. */
export function writeMetric({ name, timestampMs, datatype, isHistorical, raw }: Pick<SparkplugMetric, 'timestampMs' | 'datatype' | 'isHistorical'> & { readonly name: string; readonly raw: RawValue }): Uint8Array {
  const writer = protobuf.Writer.create().uint32(key(1, BYTES)).string(name);
  if (timestampMs !== null && Number.isSafeInteger(timestampMs)) writer.uint32(key(3, VARINT)).uint64(timestampMs);
  if (datatype !== null) writer.uint32(key(4, VARINT)).uint32(datatype);
  if (isHistorical) writer.uint32(key(5, VARINT)).bool(true);
  switch (raw.type) {
    case 'integer':
      writer.uint32(key(11, VARINT)).uint64(BigInt.asUintN(64, raw.value).toString());
      break;
    case 'float':
      writer.uint32(key(12, FIXED32)).float(raw.value);
      break;
    case 'double':
      writer.uint32(key(13, FIXED64)).double(raw.value);
      break;
    case 'boolean':
      writer.uint32(key(14, VARINT)).bool(raw.value);
      break;
    case 'text':
      writer.uint32(key(15, BYTES)).string(raw.value);
      break;
  }
  return writer.finish();
}
