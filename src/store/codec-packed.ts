/**
 * One section of the day codec, made small: deflated, or as it is where that is no longer.
 *
 *     byte     0: stored, 1: raw deflate (RFC 1951)
 *     varint   length before packing
 *     varint   length as it stands here, for deflate only
 *     bytes
 */
import { constants, deflateRawSync, inflateRawSync } from 'node:zlib';
import type { ByteReader, ByteWriter } from './codec-bytes.ts';

/** No section of a day may claim to be longer: a reading a millisecond, eight bytes each. Bounds what damaged bytes can ask for. */
const LONGEST = 8 * 86_400_000;

/** Level 1 finds what repeats as well as higher ones here, in a fraction of the time. A small window is set up sooner. */
const options = { level: 1, windowBits: 13, memLevel: 8 };

export function putPacked(into: ByteWriter, bytes: Uint8Array): void {
  const packed = smallest(bytes);
  into.byte(packed === bytes ? 0 : 1);
  into.varint(bytes.length);
  if (packed !== bytes) into.varint(packed.length);
  into.bytes(packed);
}

/** @throws for what is no packed section. */
export function takePacked(from: ByteReader): Uint8Array {
  const kind = from.byte();
  const length = from.varint();
  if (length > LONGEST) throw new RangeError('claims to be impossibly long');
  if (kind === 0) return from.bytes(length);
  if (kind !== 1) throw new RangeError(`is packed in an unknown way (${kind})`);
  const packed = from.bytes(from.varint());
  // One byte more than it may be: a buffer that is exactly full would be followed by a second one. At most a megabyte on a mere claim.
  const bytes = inflateRawSync(packed, { chunkSize: Math.min(Math.max(64, length + 1), 2 ** 20), maxOutputLength: Math.max(1, length) });
  if (bytes.length !== length) throw new RangeError('is shorter than it says');
  return bytes;
}

function smallest(bytes: Uint8Array): Uint8Array {
  if (bytes.length < 16) return bytes;
  // Repetitions found in noise cost more than the noise itself; which of the two it is shows only in the outcome.
  const repeating = deflateRawSync(bytes, options);
  const noise = deflateRawSync(bytes, { ...options, strategy: constants.Z_HUFFMAN_ONLY });
  const best = noise.length < repeating.length ? noise : repeating;
  return best.length < bytes.length ? best : bytes;
}

/** Bits these bytes take when each stands for itself and none is predicted (Shannon): which of several forms will pack best. */
export function entropyBits(bytes: Uint8Array): number {
  const counts = new Uint32Array(256);
  for (const byte of bytes) counts[byte] = (counts[byte] ?? 0) + 1;
  let bits = 0;
  for (const count of counts) if (count > 0) bits -= count * Math.log2(count / bytes.length);
  return bits;
}
