/** A clock that stands still until it is moved; `every` fires on the way, as it would have. */
import type { Clock } from '../../src/clock.ts';

export interface ManualClock extends Clock {
  advance(ms: number): void;
}

export function manualClock(startMs: number): ManualClock {
  let nowMs = startMs;
  const timers = new Set<{ nextMs: number; readonly everyMs: number; readonly run: () => void }>();
  return {
    now: () => nowMs,
    every(everyMs, run) {
      const timer = { nextMs: nowMs + everyMs, everyMs, run };
      timers.add(timer);
      return () => timers.delete(timer);
    },
    sleep: () => new Promise(() => {}),
    soon: (run) => {
      setImmediate(run);
    },
    advance(ms) {
      nowMs += ms;
      for (const timer of [...timers]) {
        if (timer.nextMs > nowMs) continue;
        timer.nextMs = nowMs + timer.everyMs;
        timer.run();
      }
    },
  };
}
