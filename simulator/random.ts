/**
 * The only source of chance in the simulator. Two forms: values addressed by a number (`uniformAt`: the same key and number give the
 * same value whatever was asked before, so that leaving out a message changes no other), and a plain sequence for processes that
 * run step by step. The mixing steps are those of the public-domain MurmurHash3 finaliser and FNV-1a.
 */

/** A 32-bit key for one named stream of one seed. */
export function streamKey(seed: number, name: string): number {
  let hash = (0x811c9dc5 ^ seed) >>> 0;
  for (let index = 0; index < name.length; index += 1) hash = Math.imul(hash ^ name.charCodeAt(index), 0x01000193) >>> 0;
  return mix(hash ^ Math.imul(seed, 0x9e3779b1));
}

/** Uniform in [0, 1), the same for the same key and number. */
export function uniformAt(key: number, number: number): number {
  return mix(mix(key ^ Math.imul(number | 0, 0x9e3779b1)) + (Math.floor(number / 2 ** 32) | 0)) / 2 ** 32;
}

/** Standard normal (Box–Muller), the same for the same key and number. */
export function normalAt(key: number, number: number): number {
  return boxMuller(uniformAt(key, number), uniformAt(key ^ 0x5bd1e995, number));
}

export interface RandomSequence {
  /** Uniform in [0, 1). */
  uniform(): number;
  /** Standard normal. */
  normal(): number;
}

export function randomSequence(key: number): RandomSequence {
  let count = 0;
  const uniform = (): number => {
    count += 1;
    return uniformAt(key, count);
  };
  return { uniform, normal: () => boxMuller(uniform(), uniform()) };
}

function boxMuller(first: number, second: number): number {
  return Math.sqrt(-2 * Math.log(1 - first)) * Math.cos(2 * Math.PI * second);
}

function mix(value: number): number {
  let hash = value >>> 0;
  hash = Math.imul(hash ^ (hash >>> 16), 0x85ebca6b) >>> 0;
  hash = Math.imul(hash ^ (hash >>> 13), 0xc2b2ae35) >>> 0;
  return (hash ^ (hash >>> 16)) >>> 0;
}
