/** SenML packs (RFC 8428), JSON or CBOR: sensor values with names, units and times of their own. */
import { z } from 'zod';
import type { Sample } from '../../src/domain/reading.ts';
import { type Decode, defineFormat, excerpt, type Field, type UnreadValue } from '../contract.ts';
import { RefusalList } from '../fold-refusals.ts';
import { readSenml, type SenmlRecord } from '../senml-pack.ts';
import { unitOfSenml, unitOfSum } from '../senml-units.ts';

/** An update time beyond is a mistake, and would have a dead sensor missed for ever. */
const MAX_UPDATE_MS = 31 * 86_400_000;

const options = z.strictObject({
  name: z.string().min(1).max(200).describe('Full name of the sensor value, base name and name together: urn:dev:ow:10e2073a01080063:temp.'),
  unit: z.string().min(1).max(16).optional().describe('Takes only records in this SenML unit, such as Cel or "%RH"; for devices that send several quantities under one name.'),
  read: z.enum(['value', 'sum']).default('value').describe('value, or sum: the running integral that SenML calls "s" (watts become an energy, litres a second a volume).'),
});
type Options = z.infer<typeof options>;

export default defineFormat<Options>({
  format: 'senml',
  looksLike: 'A SenML pack, JSON or CBOR, such as [{"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1}], with name: urn:dev:ow:10e2073a01080063:temp.',
  options,
  prepare,
});

function prepare(fields: readonly Field<Options>[]): Decode {
  const byName = new Map<string, Field<Options>[]>();
  for (const field of fields) byName.set(field.options.name, [...(byName.get(field.options.name) ?? []), field]);
  const only = fields.length === 1 ? (fields[0]?.pointId ?? null) : null;
  return (bytes, { topic, arrivedMs }) => {
    const refusals = new RefusalList(topic, () => excerpt(bytes));
    const pack = readSenml(bytes, arrivedMs);
    if (!pack.ok) {
      refusals.add(only, pack.reason);
      return { samples: [], refusals: refusals.list };
    }
    for (const problem of pack.problems) refusals.add(null, problem);
    const samples: Sample[] = [];
    const unread = new Map<string, UnreadValue>();
    for (const record of pack.records) {
      const takers = (byName.get(record.name) ?? []).filter(({ options: { unit } }) => unit === undefined || unit === record.unit);
      if (takers.length === 0) unread.set(`${record.name} ${record.unit}`, { name: record.name, unit: record.unit });
      for (const { pointId, options: wanted } of takers) {
        const sample = sampleOf(pointId, record, wanted);
        if (typeof sample === 'string') refusals.add(pointId, sample);
        else if (sample !== null) samples.push(sample);
      }
    }
    if (samples.length === 0 && unread.size === 0 && refusals.list.length === 0) refusals.add(only, 'the pack holds no value');
    return { samples, refusals: refusals.list, ...(unread.size > 0 ? { unread: [...unread.values()] } : {}) };
  };
}

function sampleOf(pointId: string, record: SenmlRecord, { read }: Options): Sample | string | null {
  const value = read === 'sum' ? record.sum : record.value;
  // A record may carry the other of the two only (RFC 8428 §4.3).
  if (value === null) return read === 'sum' ? `${record.name} was sent without a sum ("s")` : null;
  if (typeof value === 'object') return `${record.name} carries binary data ("vd"), no value; send "v", "vb" or "vs"`;
  if (value === '') return `${record.name} carries an empty text`;
  const unit = read === 'sum' ? unitOfSum(record.unit) : unitOfSenml(record.unit);
  if (!unit.ok) return unit.reason;
  const { atMs, nextWithinMs } = record;
  return { pointId, atMs, value, unit: unit.unit, ...(nextWithinMs !== null ? { nextWithinMs: Math.min(nextWithinMs, MAX_UPDATE_MS) } : {}) };
}
