/**
 * The hours of a sealed day: how many usable readings, their lowest, highest and sum. Long charts are made of these.
 *
 *     4 bytes  CRC-32, lowest byte first, of what follows. An hour that is damaged is counted again from the readings, so no series stands in it
 *     3 bytes  one bit per hour of the day, hour 0 in the lowest bit of the first byte: it has usable readings
 *     byte     0 to 22: decimals, 255: doubles
 *     per hour that has any
 *       varint   how many
 *       decimals zigzag varint lowest, varint highest − lowest, varint sum − how many · lowest; all times 10^decimals
 *       doubles  lowest, highest, sum, 8 bytes each
 *
 * With decimals the sum is a sum of whole numbers and so exact.
 */
import { crc32 } from 'node:zlib';
import { DAY, HOUR } from '../domain/duration.ts';
import { isUsable } from '../domain/reading.ts';
import { type Columns, dayOf } from './codec.ts';
import { ByteReader, ByteWriter } from './codec-bytes.ts';
import { decimalsOf } from './codec-values.ts';
import { Tally } from './tally.ts';

const RAW = 255;
const HEAD_BYTES = 4;

/** @param day at least one reading, all of one day. */
export function rollupOf(day: Columns): Uint8Array {
  const usable = usableOf(day);
  const startMs = dayOf(day.atMs[0] ?? 0) * DAY;
  const decimals = decimalsOf(usable.value);
  const exact = decimals === null ? null : tallied(usable, startMs, Number(`1e${decimals}`));
  // What is too large to be summed exactly is summed as doubles.
  const isExact = exact !== null && [...exact.values()].every(({ n, min, max, sum }) => [sum, n * min, 2 * min, max - min].every(Number.isSafeInteger));
  return isExact && decimals !== null ? written(exact, decimals) : written(tallied(usable, startMs, null), RAW);
}

/** @param power `null`: values as they are; otherwise as whole numbers of 1 / power. */
function tallied(usable: Columns, startMs: number, power: number | null): ReadonlyMap<number, Tally> {
  const hours = new Map<number, Tally>();
  for (let i = 0; i < usable.atMs.length; i += 1) {
    const hour = Math.floor(((usable.atMs[i] ?? 0) - startMs) / HOUR);
    let tally = hours.get(hour);
    if (tally === undefined) hours.set(hour, (tally = new Tally()));
    const value = usable.value[i] ?? 0;
    tally.add(power === null ? value : Math.round(value * power));
  }
  return hours;
}

function written(hours: ReadonlyMap<number, Tally>, kind: number): Uint8Array {
  const body = new ByteWriter(64 + 25 * hours.size);
  for (const byte of [0, 1, 2]) body.byte([...hours.keys()].reduce((mask, hour) => (hour >> 3 === byte ? mask | (1 << (hour & 7)) : mask), 0));
  body.byte(kind);
  for (const { n, min, max, sum } of hours.values()) {
    body.varint(n);
    if (kind === RAW) {
      body.bytes(new Uint8Array(Float64Array.of(min, max, sum).buffer));
      continue;
    }
    body.varint(min < 0 ? -2 * min - 1 : 2 * min);
    body.varint(max - min);
    body.varint(sum - n * min);
  }
  const bytes = body.finish();
  const blob = new Uint8Array(HEAD_BYTES + bytes.length);
  new DataView(blob.buffer).setUint32(0, crc32(bytes), true);
  blob.set(bytes, HEAD_BYTES);
  return blob;
}

/**
 * Hands over each hour that has usable readings, in order.
 * @returns whether the bytes were good; nothing has been handed over when they were not.
 */
export function eachHour(blob: Uint8Array, take: (hour: number, n: number, min: number, max: number, sum: number) => void): boolean {
  if (blob.length < HEAD_BYTES + 4) return false;
  const bytes = blob.subarray(HEAD_BYTES);
  if (new DataView(blob.buffer, blob.byteOffset).getUint32(0, true) !== crc32(bytes)) return false;
  const body = new ByteReader(bytes);
  const mask = body.byte() | (body.byte() << 8) | (body.byte() << 16);
  const kind = body.byte();
  const power = kind === RAW ? 1 : Number(`1e${kind}`);
  for (let hour = 0; hour < 24; hour += 1) {
    if ((mask & (1 << hour)) === 0) continue;
    const n = body.varint();
    if (kind === RAW) {
      const [min = 0, max = 0, sum = 0] = new Float64Array(Uint8Array.from(body.bytes(24)).buffer);
      take(hour, n, min, max, sum);
      continue;
    }
    const coded = body.varint();
    const min = coded % 2 === 0 ? coded / 2 : -(coded + 1) / 2;
    const max = min + body.varint();
    take(hour, n, min / power, max / power, (n * min + body.varint()) / power);
  }
  return true;
}

export function usableOf(day: Columns): Columns {
  if (day.quality.every((quality) => isUsable(quality))) return day;
  const at = [...day.quality.keys()].filter((i) => isUsable(day.quality[i] ?? 0));
  const pick = (column: Float64Array): Float64Array => Float64Array.from(at, (i) => column[i] ?? 0);
  return { atMs: pick(day.atMs), value: pick(day.value), quality: pick(day.quality) };
}
