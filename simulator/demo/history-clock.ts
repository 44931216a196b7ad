/** A clock for seeding: it stands where it is put, and nothing ticks by itself. */
import { type Clock, systemClock } from '../../src/clock.ts';

export class HistoryClock implements Clock {
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
    systemClock.soon(run);
  }
}
