/**
 * Metrics that no point reads, kept so that they can be read without the births before them: each by its name, with datatype and time. It is a payload
 * as gateways send it in a birth (Eclipse Sparkplug 3.0.0, chapter 6), kept under the address of the gateway or device, which is no topic on the wire.
 * No property of a metric is taken for its unit: the specification names none that would be one (from memory).
 */
import protobuf from 'protobufjs/minimal.js';
import type { Sample } from '../src/domain/reading.ts';
import { UNCLAIMED_MESSAGE_BYTES } from '../src/domain/unclaimed.ts';
import { type Decode, excerpt, type Field } from './contract.ts';
import { RefusalList } from './fold-refusals.ts';
import type { MessageField } from './message-fields.ts';
import { metricValue, readPayload, type SparkplugMetric, writeMetric } from './sparkplug-payload.ts';

export interface KeptMetric extends Pick<SparkplugMetric, 'timestampMs' | 'datatype' | 'isHistorical'> {
  readonly name: string;
  readonly raw: NonNullable<SparkplugMetric['raw']>;
}

/** Long enough for any word a switch sends; what is longer is a description. */
const MAX_TEXT = 64;
/** As long as an option may be. */
const MAX_NAME = 200;

/** @returns `null` for what no point could read: nothing measured, a text too long, an array. */
export function keptMetric({ raw, isNull, isHistorical }: SparkplugMetric, name: string, datatype: number | null, timestampMs: number | null): KeptMetric | null {
  if (raw === null || isNull || name === '' || name.length > MAX_NAME || (raw.type === 'text' && raw.value.length > MAX_TEXT)) return null;
  if (!metricValue({ raw }, datatype).ok) return null;
  return { name, datatype, timestampMs, isHistorical, raw };
}

/** In as many payloads as it takes for none to be longer than what is kept. */
export function writeKept(metrics: readonly KeptMetric[]): readonly Uint8Array[] {
  const payloads: Uint8Array[] = [];
  let writer = protobuf.Writer.create();
  for (const metric of metrics) {
    const bytes = writeMetric(metric);
    // Two bytes before each are its tag and, up to a length of 16 383, at most two of its length.
    if (writer.len > 0 && writer.len + bytes.length + 3 > UNCLAIMED_MESSAGE_BYTES) {
      payloads.push(writer.finish());
      writer = protobuf.Writer.create();
    }
    writer.uint32(METRICS).bytes(bytes);
  }
  if (writer.len > 0) payloads.push(writer.finish());
  return payloads;
}

/** Field 2 of a payload, of wire type "bytes". */
const METRICS = (2 << 3) | 2;

/** Newest first. */
export function keptFields(bytes: Uint8Array): readonly MessageField[] {
  const read = readPayload(bytes);
  if (!read.ok) return [];
  const fields = read.payload.metrics.flatMap((metric) => {
    const value = metric.name === null ? null : metricValue(metric, metric.datatype);
    return value?.ok !== true || metric.name === null ? [] : [{ place: { format: 'sparkplug' as const, metric: metric.name }, value: value.value, unit: null, unitPointer: null, atMs: metric.timestampMs }];
  });
  return fields.sort((a, b) => (b.atMs ?? 0) - (a.atMs ?? 0));
}

export function prepareKept(fields: readonly Field<{ readonly metric: string }>[]): Decode {
  return (bytes, { topic }) => {
    const refusals = new RefusalList(topic, () => excerpt(bytes));
    const samples: Sample[] = [];
    const read = readPayload(bytes);
    if (!read.ok) refusals.add(null, read.reason);
    for (const metric of read.ok ? read.payload.metrics : []) {
      for (const { pointId, options } of fields) {
        if (options.metric !== metric.name) continue;
        const value = metricValue(metric, metric.datatype);
        if (!value.ok) refusals.add(pointId, `metric "${metric.name}": ${value.reason}`);
        else samples.push({ pointId, atMs: metric.timestampMs, value: value.value, unit: null, ...(metric.isHistorical ? { historical: true as const } : {}) });
      }
    }
    return { samples, refusals: refusals.list };
  };
}
