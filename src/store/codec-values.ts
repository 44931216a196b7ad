/**
 * The values of a day. Most sensors send decimals of a few digits, so most values are whole numbers of some power of ten; what is not is kept as raw
 * doubles.
 *
 *     byte     form: 0 each value by itself, 1 a table of the different values and which one it is
 *     form 0:  numbers, as many as there are readings
 *     form 1:  varint   how many different values
 *              numbers  them, ascending
 *              byte     1: steps (each place in the table less the one before), 0: places
 *              packed   one zigzag varint per reading
 *
 *     numbers: byte     0 to 22: decimals, 255: doubles
 *              decimals packed   one zigzag varint per number: value · 10^decimals less the one before, the first less 0
 *              doubles  packed   all lowest bytes of the IEEE 754 doubles, then all second ones, …: what varies little stands together
 *
 * Decimals are used only if for every value, −0 included, `whole / 10^decimals` is that value to the last bit.
 */
import { type ByteReader, ByteWriter, zigzagValues, zigzagVarints } from './codec-bytes.ts';
import { entropyBits, putPacked, takePacked } from './codec-packed.ts';

const RAW = 255;
/** The largest power of ten that is an exact double. */
const MOST_DECIMALS = 22;
/** Differences of two such numbers, doubled by the zigzag, are still exact. */
const LARGEST_WHOLE = 2 ** 51;
/** More different values than this, or than every fourth reading, and the table costs more than it saves. */
const LARGEST_TABLE = 4096;

const POWERS: readonly number[] = Array.from({ length: MOST_DECIMALS + 1 }, (_, decimals) => Number(`1e${decimals}`));

/** @param values finite, at least one. */
export function putValues(into: ByteWriter, values: Float64Array): void {
  const { kind, bytes } = numbersOf(values);
  // Where every number is one byte and few differ from the one before, no table can do better by much.
  const table = tableOf(values);
  if (table !== null) {
    const asTable = tableForm(values, table);
    if (asTable.bits < entropyBits(bytes)) {
      into.byte(1);
      into.varint(table.length);
      putNumbers(into, numbersOf(table));
      into.byte(asTable.steps ? 1 : 0);
      putPacked(into, asTable.bytes);
      return;
    }
  }
  into.byte(0);
  putNumbers(into, { kind, bytes });
}

/** @throws for what is no such section. */
export function takeValues(from: ByteReader, count: number): Float64Array {
  const form = from.byte();
  if (form === 0) return takeNumbers(from, count);
  if (form !== 1) throw new RangeError(`has values in an unknown form (${form})`);
  const different = from.varint();
  if (different > count) throw new RangeError('has more different values than readings');
  const table = takeNumbers(from, different);
  const steps = from.byte() === 1;
  const places = zigzagValues(takePacked(from), count);
  let place = 0;
  for (let i = 0; i < count; i += 1) {
    place = steps ? place + (places[i] ?? 0) : (places[i] ?? 0);
    const value = table[place];
    if (value === undefined) throw new RangeError('points past its table of values');
    places[i] = value;
  }
  return places;
}

interface Numbers {
  /** Decimals, or `RAW`. */
  readonly kind: number;
  readonly bytes: Uint8Array;
}

function numbersOf(values: Float64Array): Numbers {
  const decimals = decimalsOf(values);
  if (decimals === null) return { kind: RAW, bytes: planesOf(values) };
  const power = POWERS[decimals] ?? 1;
  const steps = new Float64Array(values.length);
  let before = 0;
  for (let i = 0; i < values.length; i += 1) {
    const whole = Math.round((values[i] ?? 0) * power);
    steps[i] = whole - before;
    before = whole;
  }
  return { kind: decimals, bytes: zigzagVarints(steps) };
}

function putNumbers(into: ByteWriter, { kind, bytes }: Numbers): void {
  into.byte(kind);
  putPacked(into, bytes);
}

function takeNumbers(from: ByteReader, count: number): Float64Array {
  const kind = from.byte();
  const bytes = takePacked(from);
  if (kind === RAW) return fromPlanes(bytes, count);
  const power = POWERS[kind];
  if (power === undefined) throw new RangeError(`has ${kind} decimals`);
  const values = zigzagValues(bytes, count);
  let whole = 0;
  for (let i = 0; i < count; i += 1) {
    whole += values[i] ?? 0;
    values[i] = whole / power;
  }
  return values;
}

/** The fewest decimals with which every value comes back to the bit; `null` when there are none. */
export function decimalsOf(values: Float64Array): number | null {
  let decimals = 0;
  let power = 1;
  for (const value of values) {
    while (!comesBack(value, power)) {
      decimals += 1;
      const larger = POWERS[decimals];
      if (larger === undefined || Math.abs(value) * larger > LARGEST_WHOLE) return null;
      power = larger;
    }
  }
  // Readings before the one that asked for more decimals may be too large for them.
  for (const value of values) if (!comesBack(value, power)) return null;
  return decimals;
}

function comesBack(value: number, power: number): boolean {
  const whole = Math.round(value * power);
  if (whole === 0) return Object.is(value, 0);
  return whole / power === value && whole <= LARGEST_WHOLE && whole >= -LARGEST_WHOLE;
}

/** The different values, ascending; `null` when there are too many, or when −0, which a Map cannot tell from 0, is among them. */
function tableOf(values: Float64Array): Float64Array | null {
  const most = Math.min(LARGEST_TABLE, values.length >> 2);
  const different = new Set<number>();
  for (const value of values) {
    if (value === 0 && Object.is(value, -0)) return null;
    different.add(value);
    if (different.size > most) return null;
  }
  return Float64Array.from(different).sort();
}

function tableForm(values: Float64Array, table: Float64Array): { readonly steps: boolean; readonly bytes: Uint8Array; readonly bits: number } {
  const placeOf = new Map<number, number>();
  table.forEach((value, place) => placeOf.set(value, place));
  const places = new Float64Array(values.length);
  const steps = new Float64Array(values.length);
  let before = 0;
  for (let i = 0; i < values.length; i += 1) {
    const place = placeOf.get(values[i] ?? 0) ?? 0;
    places[i] = place;
    steps[i] = place - before;
    before = place;
  }
  const tableBits = 8 * (4 + numbersOf(table).bytes.length);
  const [asPlaces, asSteps] = [zigzagVarints(places), zigzagVarints(steps)];
  const [placeBits, stepBits] = [entropyBits(asPlaces), entropyBits(asSteps)];
  return stepBits < placeBits ? { steps: true, bytes: asSteps, bits: stepBits + tableBits } : { steps: false, bytes: asPlaces, bits: placeBits + tableBits };
}

function planesOf(values: Float64Array): Uint8Array {
  const count = values.length;
  const view = new DataView(new ArrayBuffer(8 * count));
  for (let i = 0; i < count; i += 1) view.setFloat64(8 * i, values[i] ?? 0, true);
  const planes = new Uint8Array(8 * count);
  for (let i = 0; i < count; i += 1) for (let plane = 0; plane < 8; plane += 1) planes[plane * count + i] = view.getUint8(8 * i + plane);
  return planes;
}

function fromPlanes(planes: Uint8Array, count: number): Float64Array {
  if (planes.length !== 8 * count) throw new RangeError('has doubles cut short');
  const view = new DataView(new ArrayBuffer(8 * count));
  for (let i = 0; i < count; i += 1) for (let plane = 0; plane < 8; plane += 1) view.setUint8(8 * i + plane, planes[plane * count + i] ?? 0);
  const values = new Float64Array(count);
  for (let i = 0; i < count; i += 1) values[i] = view.getFloat64(8 * i, true);
  return values;
}
