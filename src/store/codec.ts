/**
 * A day of one series as one blob, lossless to the bit.
 *
 *     byte     1: version of this layout
 *     4 bytes  CRC-32 (IEEE 802.3), lowest byte first, of: series and day as text `series/day`, then everything after these four bytes
 *     varint   how many readings, at least 1
 *     times    see `codec-times.ts`
 *     values   see `codec-values.ts`
 *     quality  varint how many runs, then per run: varint quality, varint how many readings in a row have it
 *
 * A varint is a whole number in groups of seven bits (`codec-bytes.ts`); a packed section is deflated by itself (`codec-packed.ts`), so that each
 * of them, noise of its own kind, gets a code of its own. Series and day stand in the checksum and not in the blob: one that has come to lie in
 * another's place is found out, too.
 *
 * Each step keeps what the one before it left whole; `tests/store/codec.test.ts` holds it over random and adversarial days.
 */
import { crc32 } from 'node:zlib';
import { DAY } from '../domain/duration.ts';
import type { SeriesId } from '../domain/reading.ts';
import { ByteReader, ByteWriter } from './codec-bytes.ts';
import { putTimes, takeTimes } from './codec-times.ts';
import { putValues, takeValues } from './codec-values.ts';
import { DamagedError } from './contract.ts';

/** Readings of one series as columns of equal length. */
export interface Columns {
  /** Whole milliseconds, ascending, no two alike. */
  readonly atMs: Float64Array;
  /** Finite. */
  readonly value: Float64Array;
  /** Sums of quality flags: whole, not negative. */
  readonly quality: Float64Array;
}

const VERSION = 1;
const HEAD_BYTES = 5;

/** The UTC day a time lies in: whole days since 1970. */
export const dayOf = (atMs: number): number => Math.floor(atMs / DAY);

/** `2026-03-01`, for messages. */
export const showDay = (day: number): string => {
  const date = new Date(day * DAY);
  return Number.isNaN(date.getTime()) ? `day ${day}` : date.toISOString().slice(0, 10);
};

/** A sealed day whose bytes are not what was written. */
export class DamagedDayError extends DamagedError {
  readonly series: SeriesId;
  readonly day: number;
  constructor(series: SeriesId, day: number, what: string, cause?: unknown) {
    super(`the sealed day ${showDay(day)} of series ${series} is damaged (${what}): restore a backup; "tankbell check-store" lists every damaged day`, cause);
    this.series = series;
    this.day = day;
  }
}

/** @throws RangeError for columns that are not a day of readings: a programmer's error, the store has checked each reading before. */
export function encodeDay(series: SeriesId, day: number, { atMs, value, quality }: Columns): Uint8Array {
  const count = atMs.length;
  if (count === 0 || value.length !== count || quality.length !== count) throw new RangeError(`columns of ${count}, ${value.length} and ${quality.length} readings are no day`);
  const startMs = day * DAY;
  const times = new Float64Array(count);
  let before = -1;
  for (let i = 0; i < count; i += 1) {
    const time = (atMs[i] ?? Number.NaN) - startMs;
    if (!(time > before && time < DAY && Number.isInteger(time))) throw new RangeError(`time ${atMs[i]} does not belong behind ${startMs + before} in ${showDay(day)}`);
    if (!Number.isFinite(value[i])) throw new RangeError(`value ${value[i]} is no number that can be kept`);
    times[i] = time;
    before = time;
  }
  const body = new ByteWriter(2 * count + 256);
  body.varint(count);
  putTimes(body, times);
  putValues(body, value);
  putQualities(body, quality);
  const bytes = body.finish();
  const blob = new Uint8Array(HEAD_BYTES + bytes.length);
  blob[0] = VERSION;
  new DataView(blob.buffer).setUint32(1, checksum(series, day, bytes), true);
  blob.set(bytes, HEAD_BYTES);
  return blob;
}

/** @throws DamagedDayError for anything but what `encodeDay` made for this series and day. */
export function decodeDay(series: SeriesId, day: number, blob: Uint8Array): Columns {
  if (blob.length <= HEAD_BYTES) throw new DamagedDayError(series, day, 'cut short');
  if (blob[0] !== VERSION) throw new DamagedDayError(series, day, `layout ${blob[0]}, this Tankbell knows ${VERSION}`);
  const bytes = blob.subarray(HEAD_BYTES);
  const told = new DataView(blob.buffer, blob.byteOffset).getUint32(1, true);
  if (told !== checksum(series, day, bytes)) throw new DamagedDayError(series, day, 'its checksum is wrong');
  try {
    const body = new ByteReader(bytes);
    const count = body.varint();
    if (count < 1 || count > DAY) throw new RangeError('has an impossible number of readings');
    const atMs = takeTimes(body, count);
    const value = takeValues(body, count);
    const quality = takeQualities(body, count);
    if (!body.atEnd) throw new RangeError('goes on after its end');
    const startMs = day * DAY;
    for (let i = 0; i < count; i += 1) atMs[i] = (atMs[i] ?? 0) + startMs;
    return { atMs, value, quality };
  } catch (error) {
    throw new DamagedDayError(series, day, error instanceof Error ? error.message : String(error), error);
  }
}

function checksum(series: SeriesId, day: number, bytes: Uint8Array): number {
  return crc32(bytes, crc32(`${series}/${day}`));
}

function putQualities(into: ByteWriter, qualities: Float64Array): void {
  const runs: [quality: number, length: number][] = [];
  let last: [number, number] | null = null;
  for (const quality of qualities) {
    if (!Number.isSafeInteger(quality) || quality < 0) throw new RangeError(`quality ${quality} is no sum of flags`);
    if (last !== null && last[0] === quality) last[1] += 1;
    else runs.push((last = [quality, 1]));
  }
  into.varint(runs.length);
  for (const [quality, length] of runs) {
    into.varint(quality);
    into.varint(length);
  }
}

function takeQualities(from: ByteReader, count: number): Float64Array {
  const qualities = new Float64Array(count);
  let at = 0;
  for (let runs = from.varint(); runs > 0; runs -= 1) {
    const quality = from.varint();
    const end = at + from.varint();
    if (end > count) throw new RangeError('has more qualities than readings');
    if (quality !== 0) qualities.fill(quality, at, end);
    at = end;
  }
  if (at !== count) throw new RangeError('has fewer qualities than readings');
  return qualities;
}
