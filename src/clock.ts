/** The only file that reads the clock or sets timers. Everything else takes time as an argument or is handed a `Clock`. */
export interface Clock {
  now(): number;
  /** Calls `run` every `everyMs` until the returned function is called. */
  every(everyMs: number, run: () => void): () => void;
  sleep(ms: number): Promise<void>;
  /** Calls `run` after what is pending now (I/O that has arrived) has been handled. */
  soon(run: () => void): void;
}

export const systemClock: Clock = {
  now: () => Date.now(),
  every(everyMs, run) {
    const timer = setInterval(run, everyMs);
    return () => clearInterval(timer);
  },
  sleep: (ms) => new Promise((resolve) => setTimeout(resolve, ms)),
  soon: (run) => {
    setImmediate(run);
  },
};

/** A clock that stands where it is put and ticks for nobody: for replaying a past. */
export class StandingClock implements Clock {
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
