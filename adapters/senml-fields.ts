/** What a SenML pack nobody reads could be claimed for, and how one that is too long to be kept is kept all the same. */
import type { MessageField } from './message-fields.ts';
import { readSenml, type SenmlRecord } from './senml-pack.ts';
import { unitOfSenml, unitOfSum } from './senml-units.ts';

/** @returns newest first; `null` when the message is no pack with records: any JSON list could be one at first sight. */
export function senmlFields(bytes: Uint8Array, arrivedMs: number): readonly MessageField[] | null {
  const records = recordsOf(bytes, arrivedMs);
  if (records === null) return null;
  const timeOf = ({ atMs }: SenmlRecord): number => atMs ?? arrivedMs;
  return [...records].sort((a, b) => timeOf(b) - timeOf(a)).flatMap((record) => fieldsOf(record));
}

/**
 * The pack in parts, none longer than `maxBytes`: records resolved (RFC 8428 §4.6), times absolute, in JSON. A pack that is short enough stays as
 * it is, and so does what is no pack.
 */
export function senmlParts(bytes: Uint8Array, arrivedMs: number, maxBytes: number): readonly Uint8Array[] {
  const records = bytes.length <= maxBytes ? null : recordsOf(bytes, arrivedMs);
  if (records === null) return [bytes];
  const parts: Uint8Array[] = [];
  let part: string[] = [];
  let length = 2;
  const close = (): void => {
    if (part.length > 0) parts.push(Buffer.from(`[${part.join(',')}]`));
    part = [];
    length = 2;
  };
  for (const record of records) {
    const text = JSON.stringify(resolved(record));
    const more = Buffer.byteLength(text) + 1;
    if (length + more > maxBytes) close();
    if (more + 2 > maxBytes) continue;
    part.push(text);
    length += more;
  }
  close();
  return parts.length === 0 ? [bytes] : parts;
}

function recordsOf(bytes: Uint8Array, arrivedMs: number): readonly SenmlRecord[] | null {
  const pack = readSenml(bytes, arrivedMs);
  return pack.ok && pack.records.length > 0 ? pack.records : null;
}

function fieldsOf({ name, unit, atMs, value, sum }: SenmlRecord): readonly MessageField[] {
  const fields: MessageField[] = [];
  const add = (read: 'value' | 'sum', one: number | boolean | string, said: string | null): void => {
    fields.push({ place: { format: 'senml', name, unit, read }, value: one, unit: said, unitPointer: null, atMs });
  };
  if (value !== null && typeof value !== 'object' && value !== '') {
    const known = unitOfSenml(unit);
    // "C" and "F" are charges in SenML: no guess is made of them, and the point it is claimed for says what is wrong.
    add('value', value, known.ok ? known.unit : null);
  }
  const summed = unitOfSum(unit);
  if (sum !== null && summed.ok) add('sum', sum, summed.unit);
  return fields;
}

function resolved({ name, unit, atMs, value, sum, nextWithinMs }: SenmlRecord): Readonly<Record<string, unknown>> {
  return {
    n: name, ...(unit === null ? {} : { u: unit }), ...(atMs === null ? {} : { t: atMs / 1000 }), ...valueOf(value),
    ...(sum === null ? {} : { s: sum }), ...(nextWithinMs === null ? {} : { ut: nextWithinMs / 1000 }),
  };
}

function valueOf(value: SenmlRecord['value']): Readonly<Record<string, unknown>> {
  if (value === null) return {};
  if (typeof value === 'object') return { vd: '' };
  return typeof value === 'number' ? { v: value } : typeof value === 'boolean' ? { vb: value } : { vs: value };
}
