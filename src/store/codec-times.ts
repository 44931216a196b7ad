/**
 * The times of a day. A sensor beats at a period, some noise around each beat. The decoder follows the beat and the section holds only how far each
 * reading is off it.
 *
 *     byte     unit: 0, 1, 2, 3 for 1, 10, 100, 1000 ms; every time is a whole number of units after the start of the day
 *     varint   time of the first reading, in units
 *     varint   period, in units, at least 1
 *     byte     how the beat follows the readings: 0 at once, s > 0 by 1/2^s of what a reading is off
 *     packed   per further reading one zigzag varint: its distance from the beat expected next
 *
 * The beat: starts at the first reading. The next is expected one period later; a reading at distance d from there lies on the k-th beat after it,
 * k = round(d / period), and r = d − k · period off that one. The beat then stands at expected + k · period + floor(r / 2^s), or on the reading
 * itself for s = 0. So s = 0 is the plain difference to the reading before, less the period: right for a sensor that waits a period after each
 * reading. A larger s suits one that reads on a grid, some milliseconds off: differences would count each jitter twice.
 */
import { type ByteReader, type ByteWriter, zigzagValues, zigzagVarints } from './codec-bytes.ts';
import { entropyBits, putPacked, takePacked } from './codec-packed.ts';

const UNITS = [1, 10, 100, 1000] as const;
const FOLLOWINGS = [0, 3, 5] as const;
const LARGEST_FOLLOWING = 30;

/** @param times in milliseconds after the start of the day, at least one, ascending. */
export function putTimes(into: ByteWriter, times: Float64Array): void {
  const unitAt = unitOf(times);
  const unit = UNITS[unitAt] ?? 1;
  const inUnits = unit === 1 ? times : times.map((time) => time / unit);
  const period = periodOf(inUnits);
  let best: { readonly following: number; readonly bytes: Uint8Array; readonly bits: number } | null = null;
  for (const following of FOLLOWINGS) {
    const bytes = zigzagVarints(offsets(inUnits, period, following));
    const bits = entropyBits(bytes);
    if (best === null || bits < best.bits) best = { following, bytes, bits };
  }
  into.byte(unitAt);
  into.varint(inUnits[0] ?? 0);
  into.varint(period);
  into.byte(best?.following ?? 0);
  putPacked(into, best?.bytes ?? new Uint8Array(0));
}

/** @returns milliseconds after the start of the day. @throws for what is no such section. */
export function takeTimes(from: ByteReader, count: number): Float64Array {
  const unit = UNITS[from.byte()];
  if (unit === undefined) throw new RangeError('has an unknown unit of time');
  const first = from.varint();
  const period = from.varint();
  const following = from.byte();
  if (period < 1 || following > LARGEST_FOLLOWING) throw new RangeError('has an impossible beat');
  const off = zigzagValues(takePacked(from), count - 1);
  const times = new Float64Array(count);
  times[0] = first * unit;
  let beat = first;
  for (let i = 1; i < count; i += 1) {
    const expected = beat + period;
    const distance = off[i - 1] ?? 0;
    times[i] = (expected + distance) * unit;
    beat = following === 0 ? expected + distance : nextBeat(expected, distance, period, following);
  }
  return times;
}

function offsets(times: Float64Array, period: number, following: number): Float64Array {
  const off = new Float64Array(Math.max(0, times.length - 1));
  let beat = times[0] ?? 0;
  for (let i = 1; i < times.length; i += 1) {
    const expected = beat + period;
    const distance = (times[i] ?? 0) - expected;
    off[i - 1] = distance;
    beat = following === 0 ? expected + distance : nextBeat(expected, distance, period, following);
  }
  return off;
}

function nextBeat(expected: number, distance: number, period: number, following: number): number {
  // Both ends of a day are below 2^27, so everything here fits into 32 bits.
  const beats = 2 * distance < period && 2 * distance >= -period ? 0 : Math.round(distance / period);
  return expected + beats * period + ((distance - beats * period) >> following);
}

function unitOf(times: Float64Array): number {
  let unitAt = UNITS.length - 1;
  for (const time of times) while (unitAt > 0 && time % (UNITS[unitAt] ?? 1) !== 0) unitAt -= 1;
  return unitAt;
}

/** The usual distance of two neighbours: the median of at most 255 of them, spread over the day. */
function periodOf(times: Float64Array): number {
  const gaps = times.length - 1;
  if (gaps < 1) return 1;
  const looked = Math.min(gaps, 255);
  const found = new Float64Array(looked);
  for (let i = 0; i < looked; i += 1) {
    const at = Math.floor((i * gaps) / looked);
    found[i] = (times[at + 1] ?? 0) - (times[at] ?? 0);
  }
  return found.sort()[looked >> 1] ?? 1;
}
