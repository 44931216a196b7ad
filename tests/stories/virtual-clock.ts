import type { Clock } from '../../src/clock.ts';

/** A clock that stands still until it is set. */
export class VirtualClock implements Clock {
  #nowMs: number;
  constructor(startMs: number) {
    this.#nowMs = startMs;
  }
  now = (): number => this.#nowMs;
  set(nowMs: number): void {
    this.#nowMs = nowMs;
  }
  every(): () => void {
    return () => undefined;
  }
  sleep(): Promise<void> {
    return Promise.resolve();
  }
  soon(run: () => void): void {
    setImmediate(run);
  }
}
