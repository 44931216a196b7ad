/**
 * Is the clock of a source right? Judged from its own messages alone: the lag (arrival minus stamp) of each.
 *
 * - A right clock has a lag of seconds. Beyond the bound (two minutes either way) it is under suspicion.
 * - A wrong clock is off by *the same* amount in every message, while messages go on arriving at their cadence: six messages and a minute of
 *   arrivals, at least three times the cadence, whose lags differ by no more than five seconds.
 * - A store-and-forward burst is late data of a right clock: old stamps arrive faster than they were measured, so that their lags shrink from one to
 *   the next and are never steady for a minute. Neither is a gateway that uploads in batches: its lags go up and down like a saw.
 *
 * While a clock is wrong its stamps are not used. One message within the bound shows that it has been set right.
 */
import { MINUTE, SECOND } from '../domain/duration.ts';
import type { ClockState } from '../domain/source-clock.ts';

/** Lag beyond which a clock is under suspicion. */
export const clockBoundMs = 2 * MINUTE;
/** Lags of a wrong clock differ by no more. */
const steadyMs = 5 * SECOND;
const leastMessages = 6;
const leastSpanMs = MINUTE;

/** One message with a stamp. The same object comes back when nothing changed. */
export function stepClock(state: ClockState | null, arrivedMs: number, lagMs: number, everyMs: number): ClockState | null {
  if (Math.abs(lagMs) <= clockBoundMs) return null;
  const fresh: ClockState = { firstMs: arrivedMs, lastMs: arrivedMs, messages: 1, leastLagMs: lagMs, mostLagMs: lagMs, wrongSinceMs: state?.wrongSinceMs ?? null };
  if (state === null) return fresh;
  // Several values of one message.
  if (arrivedMs === state.lastMs && lagMs >= state.leastLagMs && lagMs <= state.mostLagMs) return state;
  const leastLagMs = Math.min(state.leastLagMs, lagMs);
  const mostLagMs = Math.max(state.mostLagMs, lagMs);
  if (mostLagMs - leastLagMs > steadyMs) return fresh;
  const run: ClockState = { ...state, lastMs: arrivedMs, messages: state.messages + 1, leastLagMs, mostLagMs };
  if (run.wrongSinceMs !== null || run.messages < leastMessages || arrivedMs - run.firstMs < Math.max(leastSpanMs, 3 * everyMs)) return run;
  return { ...run, wrongSinceMs: arrivedMs };
}

/** By how much a clock is off, positive when it is behind: the median of its latest lags. */
export class Lags {
  readonly #latest: number[] = [];
  #next = 0;

  add(lagMs: number): void {
    this.#latest[this.#next] = lagMs;
    this.#next = (this.#next + 1) % keptLags;
  }

  /** `null` before the first. */
  get medianMs(): number | null {
    const sorted = [...this.#latest].sort((a, b) => a - b);
    return sorted[Math.floor(sorted.length / 2)] ?? null;
  }
}

const keptLags = 15;
