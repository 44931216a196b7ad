/** Bytes of the day codec: whole numbers in groups of seven bits, doubles as they are. */

/** Largest whole number a varint may hold: every double up to here is exact. */
const LARGEST = Number.MAX_SAFE_INTEGER;

/**
 * Whole numbers from 0 to 2^53 − 1 in groups of seven bits, lowest first; the top bit says that more follow (LEB128).
 */
export class ByteWriter {
  #bytes: Uint8Array;
  #length = 0;

  constructor(roomBytes = 256) {
    this.#bytes = new Uint8Array(roomBytes);
  }

  byte(value: number): void {
    this.#room(1);
    this.#bytes[this.#length++] = value;
  }

  varint(value: number): void {
    this.#room(8);
    this.#length = putVarint(this.#bytes, this.#length, value);
  }

  bytes(more: Uint8Array): void {
    this.#room(more.length);
    this.#bytes.set(more, this.#length);
    this.#length += more.length;
  }

  finish(): Uint8Array {
    return this.#bytes.subarray(0, this.#length);
  }

  #room(more: number): void {
    if (this.#length + more <= this.#bytes.length) return;
    const larger = new Uint8Array(Math.max(2 * this.#bytes.length, this.#length + more));
    larger.set(this.#bytes);
    this.#bytes = larger;
  }
}

export class ByteReader {
  readonly #bytes: Uint8Array;
  #at = 0;

  constructor(bytes: Uint8Array) {
    this.#bytes = bytes;
  }

  get atEnd(): boolean {
    return this.#at === this.#bytes.length;
  }

  /** @throws RangeError past the end. */
  byte(): number {
    const value = this.#bytes[this.#at];
    if (value === undefined) throw new RangeError('ends too soon');
    this.#at += 1;
    return value;
  }

  /** @throws RangeError past the end, or for a number that is too large. */
  varint(): number {
    let value = 0;
    for (let factor = 1; ; factor *= 128) {
      const group = this.byte();
      value += (group & 127) * factor;
      if (value > LARGEST) throw new RangeError('holds a number that is too large');
      if (group < 128) return value;
    }
  }

  /** @throws RangeError past the end. */
  bytes(length: number): Uint8Array {
    if (length > this.#bytes.length - this.#at) throw new RangeError('ends too soon');
    this.#at += length;
    return this.#bytes.subarray(this.#at - length, this.#at);
  }
}

/** @returns where the next one goes. */
function putVarint(bytes: Uint8Array, at: number, value: number): number {
  let rest = value;
  while (rest >= 0x80000000) {
    bytes[at++] = (rest % 128) | 128;
    rest = Math.floor(rest / 128);
  }
  while (rest >= 128) {
    bytes[at++] = (rest & 127) | 128;
    rest >>>= 7;
  }
  bytes[at++] = rest;
  return at;
}

/** All of `values` as varints after a zigzag: 0, −1, 1, −2 … become 0, 1, 2, 3 …, so that small numbers of both signs stay small. */
export function zigzagVarints(values: Float64Array): Uint8Array {
  const bytes = new Uint8Array(8 * values.length);
  let at = 0;
  for (const value of values) {
    // The usual case first: one byte.
    if (value < 64 && value >= -64) bytes[at++] = value < 0 ? -2 * value - 1 : 2 * value;
    else at = putVarint(bytes, at, value < 0 ? -2 * value - 1 : 2 * value);
  }
  return bytes.subarray(0, at);
}

/** The way back. @throws RangeError when `bytes` are not exactly `count` numbers. */
export function zigzagValues(bytes: Uint8Array, count: number): Float64Array {
  const values = new Float64Array(count);
  const { length } = bytes;
  let at = 0;
  for (let i = 0; i < count; i += 1) {
    if (at >= length) throw new RangeError('ends too soon');
    let coded = bytes[at++] ?? 0;
    if (coded >= 128) {
      coded -= 128;
      for (let factor = 128; ; factor *= 128) {
        if (at >= length || factor > 2 ** 49) throw new RangeError('holds a broken number');
        const group = bytes[at++] ?? 0;
        coded += (group & 127) * factor;
        if (group < 128) break;
      }
    }
    values[i] = coded % 2 === 0 ? coded / 2 : -(coded + 1) / 2;
  }
  if (at !== length) throw new RangeError('holds more than it says');
  return values;
}
