/**
 * How often somebody may try to log in: a bucket of tries per name and one per address, refilled slowly.
 * Memory is bounded: the bucket used longest ago is forgotten first. A flood of invented names cannot push out a real one
 * quickly, because the flood's own address runs dry first.
 */
import { MINUTE, SECOND } from '../domain/duration.ts';

export interface AttemptLimit {
  /** Takes a try. @returns 0 when it may go ahead, else milliseconds until the next try. */
  take(name: string, address: string, nowMs: number): number;
  /** Gives the tries back after a success. */
  succeeded(name: string, address: string): void;
}

const perName = { tries: 8, refillMs: MINUTE };
const perAddress = { tries: 20, refillMs: 30 * SECOND };
const MAX_BUCKETS = 5000;

export function attemptLimit(): AttemptLimit {
  const names = new Buckets(perName);
  const addresses = new Buckets(perAddress);
  return {
    take(name, address, nowMs) {
      const key = nameKey(name);
      const waitMs = Math.max(names.waitMs(key, nowMs), addresses.waitMs(address, nowMs));
      if (waitMs > 0) return waitMs;
      names.take(key, nowMs);
      addresses.take(address, nowMs);
      return 0;
    },
    succeeded(name, address) {
      names.forget(nameKey(name));
      addresses.forget(address);
    },
  };
}

const nameKey = (name: string): string => name.trim().toLowerCase().slice(0, 100);

interface Bucket {
  readonly left: number;
  readonly atMs: number;
}

class Buckets {
  private readonly buckets = new Map<string, Bucket>();
  private readonly limit: { readonly tries: number; readonly refillMs: number };

  constructor(limit: { tries: number; refillMs: number }) {
    this.limit = limit;
  }

  waitMs(key: string, nowMs: number): number {
    const left = this.left(key, nowMs);
    return left >= 1 ? 0 : Math.ceil((1 - left) * this.limit.refillMs);
  }

  take(key: string, nowMs: number): void {
    const left = this.left(key, nowMs) - 1;
    this.buckets.delete(key);
    this.buckets.set(key, { left, atMs: nowMs });
    if (this.buckets.size <= MAX_BUCKETS) return;
    const oldest = this.buckets.keys().next();
    if (oldest.done !== true) this.buckets.delete(oldest.value);
  }

  forget(key: string): void {
    this.buckets.delete(key);
  }

  private left(key: string, nowMs: number): number {
    const bucket = this.buckets.get(key);
    if (bucket === undefined) return this.limit.tries;
    // A clock stepped back gives nothing and takes nothing.
    return Math.min(this.limit.tries, bucket.left + Math.max(0, nowMs - bucket.atMs) / this.limit.refillMs);
  }
}
