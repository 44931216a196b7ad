/** History on its way from a file into the store: gathered by series as columns, handed over in chunks. */
import { doubled } from '../../adapters/csv-readings.ts';
import type { Reading, SeriesId } from '../domain/reading.ts';
import type { SeriesColumns } from '../store/contract.ts';

/**
 * Rows of one transaction: what arrives live waits no longer than one of them takes. The more rows, the less often a day is sealed anew; so a chunk
 * grows while the store takes it in less than `QUICK_MS`, and shrinks when it takes more than `SLOW_MS`.
 */
const FEWEST_ROWS = 10_000;
const MOST_ROWS = 80_000;
const QUICK_MS = 20;
const SLOW_MS = 50;

export interface PendingSeries {
  readonly series: SeriesId;
  atMs: Float64Array;
  value: Float64Array;
  quality: Float64Array;
  /** Entries that count. */
  length: number;
  /** Newest of those that are stored. */
  newest: Reading | null;
}

export class ImportHistory {
  readonly #all: PendingSeries[] = [];
  #chunkRows = FEWEST_ROWS;
  #waiting = 0;

  get waiting(): number {
    return this.#waiting;
  }

  /** Is there as much as the store is to take at once? */
  get isChunk(): boolean {
    return this.#waiting >= this.#chunkRows;
  }

  of(series: SeriesId): PendingSeries {
    const pending: PendingSeries = { series, atMs: new Float64Array(ROOM), value: new Float64Array(ROOM), quality: new Float64Array(ROOM), length: 0, newest: null };
    this.#all.push(pending);
    return pending;
  }

  add(to: PendingSeries, atMs: number, value: number, quality: number): void {
    const at = to.length;
    if (at === to.atMs.length) grow(to);
    to.atMs[at] = atMs;
    to.value[at] = value;
    to.quality[at] = quality;
    to.length = at + 1;
    this.#waiting += 1;
  }

  /** Takes a chunk out, of each series in the order it came; its columns are the caller's. */
  take(): readonly SeriesColumns[] {
    const chunk: SeriesColumns[] = [];
    let room = this.#chunkRows;
    for (const pending of this.#all) {
      const count = Math.min(pending.length, room);
      if (count === 0) continue;
      const { series, atMs, value, quality, length } = pending;
      chunk.push({ series, atMs: atMs.slice(0, count), value: value.slice(0, count), quality: quality.slice(0, count) });
      for (const column of [atMs, value, quality]) column.copyWithin(0, count, length);
      pending.length = length - count;
      room -= count;
      this.#waiting -= count;
    }
    return chunk;
  }

  /** The chunk is stored, and that took so long. */
  stored(chunk: readonly SeriesColumns[], durationMs: number): void {
    for (const columns of chunk) {
      const pending = this.#all.find(({ series }) => series === columns.series);
      if (pending !== undefined) noteNewest(pending, columns);
    }
    if (durationMs < QUICK_MS) this.#chunkRows = Math.min(MOST_ROWS, 2 * this.#chunkRows);
    else if (durationMs > SLOW_MS) this.#chunkRows = Math.max(FEWEST_ROWS, this.#chunkRows >> 1);
  }
}

function noteNewest(pending: PendingSeries, { series, atMs, value, quality }: SeriesColumns): void {
  let newest = -1;
  let newestMs = pending.newest?.atMs ?? Number.NEGATIVE_INFINITY;
  for (let i = 0; i < atMs.length; i += 1) {
    const time = atMs[i] ?? Number.NaN;
    if (!(time > newestMs)) continue;
    newestMs = time;
    newest = i;
  }
  if (newest >= 0) pending.newest = { series, atMs: newestMs, value: value[newest] ?? Number.NaN, quality: quality[newest] ?? Number.NaN };
}

const ROOM = 256;

function grow(pending: PendingSeries): void {
  pending.atMs = doubled(pending.atMs);
  pending.value = doubled(pending.value);
  pending.quality = doubled(pending.quality);
}
