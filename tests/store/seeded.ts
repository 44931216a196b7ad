/** Pseudo-random readings, the same for the same seed, over every kind of double a sensor or a broken sensor may send. */
import type { Reading } from '../../src/domain/reading.ts';
import { T0 } from './examples.ts';

/** mulberry32: a 32-bit generator; numbers in [0, 1). */
export function seededRandom(seed: number): () => number {
  let state = seed >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let mixed = Math.imul(state ^ (state >>> 15), state | 1);
    mixed ^= mixed + Math.imul(mixed ^ (mixed >>> 7), mixed | 61);
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 2 ** 32;
  };
}

/** @returns `count` readings of series 0 with different stamps, in no order. */
export function seededReadings(seed: number, count: number): readonly Reading[] {
  const random = seededRandom(seed);
  const stamps = new Set<number>();
  while (stamps.size < count) stamps.add(T0 + Math.floor((random() - 0.5) * 4e9));
  return [...stamps].map((atMs) => ({ series: 0, atMs, value: anyDouble(random), quality: Math.floor(random() * 8) }));
}

function anyDouble(random: () => number): number {
  const shape = random();
  if (shape < 0.3) return Math.round(random() * 4000) / 100;
  if (shape < 0.4) return Math.round((random() - 0.5) * 2e6);
  if (shape < 0.45) return -0;
  const bits = new DataView(new ArrayBuffer(8));
  bits.setUint32(0, Math.floor(random() * 2 ** 32));
  bits.setUint32(4, Math.floor(random() * 2 ** 32));
  const value = bits.getFloat64(0);
  return Number.isFinite(value) ? value : random();
}
