/** The readings of one block of a CSV file as columns: a million rows without a million objects. */
import type { CsvRow } from './csv.ts';

/** What a reading belongs to, as the file says it. */
export type CsvSource = Pick<CsvRow, 'label' | 'pointName' | 'unit'>;

export class CsvReadings {
  /** The first `length` entries of each column count. */
  length = 0;
  readonly source: CsvSource[] = [];
  line = new Float64Array(ROOM);
  atMs = new Float64Array(ROOM);
  /** NaN: an on/off word, in `words`. */
  value = new Float64Array(ROOM);
  /** By place. */
  readonly words = new Map<number, string>();

  push(line: number, source: CsvSource, atMs: number, value: number): void {
    const at = this.length;
    if (at === this.atMs.length) this.#grow();
    this.source.push(source);
    this.line[at] = line;
    this.atMs[at] = atMs;
    this.value[at] = value;
    this.length = at + 1;
  }

  pushWord(line: number, source: CsvSource, atMs: number, word: string): void {
    this.words.set(this.length, word);
    this.push(line, source, atMs, Number.NaN);
  }

  rows(): readonly CsvRow[] {
    return this.source.map(({ label, pointName, unit }, at) => ({
      line: this.line[at] ?? Number.NaN, label, pointName, atMs: this.atMs[at] ?? Number.NaN, value: this.words.get(at) ?? this.value[at] ?? Number.NaN, unit,
    }));
  }

  #grow(): void {
    this.line = doubled(this.line);
    this.atMs = doubled(this.atMs);
    this.value = doubled(this.value);
  }
}

const ROOM = 2048;

/** With room for as many entries again. */
export function doubled(column: Float64Array): Float64Array<ArrayBuffer> {
  const larger = new Float64Array(2 * column.length);
  larger.set(column);
  return larger;
}
