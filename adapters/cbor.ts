/**
 * Reads one CBOR item (RFC 8949), as far as sensors need it: numbers, texts, bytes, lists, maps, true/false/null, decimal fractions (tag 4,
 * RFC 8428 §6). Small on purpose: a general library also revives dates, classes and back references from hostile bytes, and lets a key
 * that stands twice win in silence. Every length is held against the bytes that are left before anything is made of it.
 */
import { decodeUtf8 } from './utf8.ts';

export type CborValue = number | string | boolean | null | undefined | Uint8Array | readonly CborValue[] | CborMap;
export type CborMap = ReadonlyMap<number | string, CborValue>;

export type CborRead = { readonly ok: true; readonly value: CborValue } | { readonly ok: false; readonly reason: string };

/** Deeper than any device nests. */
const MAX_DEPTH = 16;

export function readCbor(bytes: Uint8Array): CborRead {
  const reader = new Reader(bytes);
  try {
    const value = reader.item(0);
    if (reader.at !== bytes.length) return { ok: false, reason: `the message goes on behind the end of its CBOR (byte ${reader.at + 1})` };
    return { ok: true, value };
  } catch (error) {
    if (!(error instanceof BadCbor)) throw error;
    return { ok: false, reason: `the message is no CBOR that can be read: ${error.message}` };
  }
}

class BadCbor extends Error {
  override readonly name = 'BadCbor';
}

/** Ends a list, map or text of unannounced length. */
const stop = Symbol('stop');

class Reader {
  at = 0;
  readonly #bytes: Uint8Array;
  readonly #view: DataView;

  constructor(bytes: Uint8Array) {
    this.#bytes = bytes;
    this.#view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  }

  item(depth: number): CborValue {
    const value = this.#itemOrStop(depth);
    if (value === stop) throw this.#bad('a stop code where a value belongs');
    return value;
  }

  #itemOrStop(depth: number): CborValue | typeof stop {
    if (depth > MAX_DEPTH) throw this.#bad(`it is nested more than ${MAX_DEPTH} deep`);
    const first = this.#byte();
    const major = first >> 5;
    const info = first & 31;
    switch (major) {
      case 0:
        return this.#argument(info);
      case 1:
        return -1 - this.#argument(info);
      case 2:
        return this.#strings(info, 2);
      case 3: {
        const text = decodeUtf8(this.#strings(info, 3));
        if (text === null) throw this.#bad('a text that is not UTF-8');
        return text;
      }
      case 4:
        return this.#list(info, depth);
      case 5:
        return this.#map(info, depth);
      case 6:
        return this.#tagged(this.#argument(info), depth);
      default:
        return this.#simple(info);
    }
  }

  /** Numbers above 2^53 become the nearest double, as any number of a measurement does. */
  #argument(info: number): number {
    if (info < 24) return info;
    switch (info) {
      case 24:
        return this.#byte();
      case 25:
        return this.#view.getUint16(this.#skip(2));
      case 26:
        return this.#view.getUint32(this.#skip(4));
      case 27:
        return Number(this.#view.getBigUint64(this.#skip(8)));
      default:
        throw this.#bad('a length that is reserved');
    }
  }

  #length(info: number, what: string): number {
    const length = this.#argument(info);
    if (length > this.#bytes.length - this.at) throw this.#bad(`${what} announces ${length}, and only ${this.#bytes.length - this.at} bytes are left`);
    return length;
  }

  #strings(info: number, major: 2 | 3): Uint8Array {
    if (info !== 31) {
      const length = this.#length(info, 'a text');
      return this.#bytes.subarray(this.#skip(length), this.at);
    }
    const parts: Uint8Array[] = [];
    for (let first = this.#byte(); first !== 0xff; first = this.#byte()) {
      if (first >> 5 !== major || (first & 31) === 31) throw this.#bad('a piece of a text that is none');
      const length = this.#length(first & 31, 'a text');
      parts.push(this.#bytes.subarray(this.#skip(length), this.at));
    }
    return Buffer.concat(parts);
  }

  #list(info: number, depth: number): readonly CborValue[] {
    const list: CborValue[] = [];
    const length = info === 31 ? Number.POSITIVE_INFINITY : this.#length(info, 'a list');
    while (list.length < length) {
      const value = this.#itemOrStop(depth + 1);
      if (value === stop) {
        if (info === 31) break;
        throw this.#bad('a list that ends too early');
      }
      list.push(value);
    }
    return list;
  }

  #map(info: number, depth: number): CborMap {
    const map = new Map<number | string, CborValue>();
    const size = info === 31 ? Number.POSITIVE_INFINITY : this.#length(info, 'a map');
    while (map.size < size) {
      const key = this.#itemOrStop(depth + 1);
      if (key === stop && info === 31) break;
      if (typeof key !== 'number' && typeof key !== 'string') throw this.#bad('a key that is neither a number nor a text');
      if (map.has(key)) throw this.#bad(`key ${key} stands twice in one record: it cannot be known which one counts`);
      map.set(key, this.item(depth + 1));
    }
    return map;
  }

  #tagged(tag: number, depth: number): CborValue {
    const value = this.item(depth + 1);
    // 55799 says no more than "this is CBOR" (RFC 8949 §3.4.6).
    if (tag === 55_799) return value;
    if (tag !== 4) throw this.#bad(`tag ${tag} is not read here`);
    const [exponent, mantissa] = Array.isArray(value) && value.length === 2 ? value : [];
    if (typeof exponent !== 'number' || typeof mantissa !== 'number' || !Number.isInteger(exponent) || !Number.isInteger(mantissa)) throw this.#bad('a decimal fraction that is none');
    // By way of its text, so that 273.15 is the double nearest to 273.15.
    return Number(`${mantissa}e${exponent}`);
  }

  #simple(info: number): CborValue | typeof stop {
    switch (info) {
      case 20:
        return false;
      case 21:
        return true;
      case 22:
        return null;
      case 23:
        return undefined;
      case 25:
        return halfFloat(this.#view.getUint16(this.#skip(2)));
      case 26:
        return this.#view.getFloat32(this.#skip(4));
      case 27:
        return this.#view.getFloat64(this.#skip(8));
      case 31:
        return stop;
      default:
        throw this.#bad(`simple value ${info} means nothing here`);
    }
  }

  #byte(): number {
    return this.#view.getUint8(this.#skip(1));
  }

  /** @returns where the skipped bytes begin. */
  #skip(count: number): number {
    const from = this.at;
    if (count > this.#bytes.length - from) throw this.#bad('it is cut off');
    this.at = from + count;
    return from;
  }

  #bad(what: string): BadCbor {
    return new BadCbor(`${what} (byte ${Math.min(this.at + 1, this.#bytes.length)})`);
  }
}

/** RFC 8949 appendix D. */
function halfFloat(bits: number): number {
  const exponent = (bits >> 10) & 31;
  const fraction = bits & 1023;
  const size = exponent === 0 ? fraction * 2 ** -24 : exponent === 31 ? (fraction === 0 ? Number.POSITIVE_INFINITY : Number.NaN) : (1024 + fraction) * 2 ** (exponent - 25);
  return (bits & 0x8000) === 0 ? size : -size;
}
