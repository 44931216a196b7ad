/**
 * What of one gateway or device no point reads, and when it is handed on to be kept. Of a device nobody reads from every message is; of one that points
 * read in part the latest values are, once a minute. Gateways send what has changed: a value that stands would be pushed out by those that move, so
 * each is told again after ten minutes, with its own time.
 */
import { MINUTE } from '../src/domain/duration.ts';
import { PARTIAL_EVERY_MS } from '../src/domain/unclaimed.ts';
import { type KeptMetric, writeKept } from './sparkplug-kept.ts';

const AGAIN_MS = 10 * MINUTE;

interface Latest {
  readonly metric: KeptMetric;
  /** `null`: not yet. */
  readonly toldMs: number | null;
}

export class UnreadMetrics {
  /** As many as names are remembered (`sparkplug-session.ts`). */
  readonly #latest = new Map<string, Latest>();
  #nextMs = Number.NEGATIVE_INFINITY;
  #lookMs = Number.NEGATIVE_INFINITY;

  /** @returns payloads to be kept now. @param partial points read other metrics of the device. */
  take(heard: readonly KeptMetric[], arrivedMs: number, partial: boolean): readonly Uint8Array[] {
    for (const metric of heard) {
      if (!metric.isHistorical) this.#latest.set(metric.name, { metric, toldMs: partial ? null : arrivedMs });
    }
    if (partial && arrivedMs < this.#nextMs) return [];
    const told = partial ? [...this.#latest.values()].filter(({ toldMs }) => toldMs === null).map(({ metric }) => metric) : heard;
    const all = [...told, ...this.#standing(arrivedMs)];
    if (all.length === 0) return [];
    if (partial) this.#nextMs = arrivedMs + PARTIAL_EVERY_MS;
    for (const metric of all) {
      if (!metric.isHistorical) this.#latest.set(metric.name, { metric, toldMs: arrivedMs });
    }
    return writeKept(all);
  }

  /** A point reads it now, or the device is born anew and names its metrics again. */
  forget(name: string): void {
    this.#latest.delete(name);
  }

  clear(): void {
    this.#latest.clear();
  }

  #standing(arrivedMs: number): readonly KeptMetric[] {
    if (arrivedMs < this.#lookMs) return [];
    this.#lookMs = arrivedMs + MINUTE;
    // Without a time of its own it would look measured anew.
    return [...this.#latest.values()].filter(({ metric, toldMs }) => toldMs !== null && arrivedMs - toldMs >= AGAIN_MS && metric.timestampMs !== null).map(({ metric }) => metric);
  }
}
