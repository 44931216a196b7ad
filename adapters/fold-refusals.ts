/** Many records of one message can be wrong in the same way: each way is said once, and no message says more than a few. */
import type { Refusal } from '../src/domain/reading.ts';

const MAX_REFUSALS = 20;

export class RefusalList {
  readonly #refusals: Refusal[] = [];
  readonly #said = new Set<string>();
  readonly #source: string;
  readonly #excerpt: () => string;
  #more = 0;

  constructor(source: string, excerpt: () => string) {
    this.#source = source;
    this.#excerpt = excerpt;
  }

  add(pointId: string | null, reason: string): void {
    const key = `${pointId ?? ''}\n${reason}`;
    if (this.#said.has(key)) return;
    if (this.#refusals.length >= MAX_REFUSALS - 1) {
      this.#more += 1;
      return;
    }
    this.#said.add(key);
    this.#refusals.push({ source: this.#source, pointId, reason, excerpt: this.#excerpt() });
  }

  get list(): readonly Refusal[] {
    if (this.#more === 0) return this.#refusals;
    return [...this.#refusals, { source: this.#source, pointId: null, reason: 'and more in this message that could not be read; put the ones above right first', excerpt: this.#excerpt() }];
  }
}
