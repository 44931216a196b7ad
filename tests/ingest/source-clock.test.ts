/** A wrong clock is told from late data: both have old stamps, only one of them steadily. */
import { expect, it } from 'vitest';
import { HOUR, MINUTE, SECOND } from '../../src/domain/duration.ts';
import type { ClockState } from '../../src/domain/source-clock.ts';
import { Lags, stepClock } from '../../src/ingest/source-clock.ts';

const everyMs = 30 * SECOND;
function run(messages: readonly (readonly [arrivedMs: number, stampMs: number])[], from: ClockState | null = null): ClockState | null {
  return messages.reduce((state: ClockState | null, [arrivedMs, stampMs]) => stepClock(state, arrivedMs, arrivedMs - stampMs, everyMs), from);
}
/** Deterministic jitter of up to two seconds. */
const jitter = (i: number): number => ((i * 7919) % 2000);
const live = (count: number, behindMs: number, fromMs = 0) => Array.from({ length: count }, (_, i) => [fromMs + i * everyMs + jitter(i), fromMs + i * everyMs - behindMs] as const);

it('a right clock leaves no trace, whatever the network does within the bound', () => {
  expect(run(live(50, 0))).toBeNull();
  expect(run(live(50, 100 * SECOND))).toBeNull();
});

it.each([['three hours behind', 3 * HOUR], ['three minutes behind', 3 * MINUTE], ['an hour ahead', -HOUR], ['never set', 56 * 365 * 24 * HOUR]])('%s, steadily: wrong after six messages', (_what, behindMs) => {
  expect(run(live(5, behindMs))?.wrongSinceMs).toBeNull();
  expect(run(live(6, behindMs))?.wrongSinceMs).toBe(5 * everyMs + jitter(5));
  expect(run(live(40, behindMs))?.wrongSinceMs).toBe(5 * everyMs + jitter(5));
});

it('set right, it is right with the first message that shows it', () => {
  expect(run([...live(20, 3 * HOUR), ...live(1, 0, 700 * SECOND)])).toBeNull();
});

it('a store-and-forward burst is late data, at any speed of upload faster than it was measured', () => {
  for (const gapMs of [0, 1, 50, SECOND, 10 * SECOND, 20 * SECOND]) {
    const burst = Array.from({ length: 400 }, (_, i) => [4 * HOUR + i * gapMs, i * everyMs] as const);
    for (let upTo = 1; upTo <= burst.length; upTo += 1) expect(run(burst.slice(0, upTo))?.wrongSinceMs ?? null).toBeNull();
  }
});

it('a burst of a source faster than the tolerance is still too short to be taken for a cadence', () => {
  const burst = Array.from({ length: 60 }, (_, i) => [HOUR + i, i * 50] as const);
  expect(run(burst)?.wrongSinceMs).toBeNull();
});

it('a gateway that uploads every ten minutes has lags like a saw', () => {
  const batches = Array.from({ length: 12 }, (_, batch) => Array.from({ length: 20 }, (_, i) => [(batch + 1) * 10 * MINUTE + i, batch * 10 * MINUTE + i * everyMs] as const)).flat();
  expect(run(batches)?.wrongSinceMs ?? null).toBeNull();
});

it('several values of one message count as one', () => {
  const twice = live(3, 3 * HOUR).flatMap((message) => [message, message, message]);
  expect(run(twice)?.messages).toBe(3);
});

it('a late burst while the clock is wrong changes nothing about that', () => {
  const wrong = run(live(20, 3 * HOUR));
  expect(run([[HOUR, -9 * HOUR], [HOUR + 1, -9 * HOUR + everyMs]], wrong)?.wrongSinceMs).toBe(wrong?.wrongSinceMs);
});

it('the median of the latest lags is not moved by a few late ones', () => {
  const lags = new Lags();
  expect(lags.medianMs).toBeNull();
  for (let i = 0; i < 40; i += 1) lags.add(i % 5 === 0 ? HOUR : 1500);
  expect(lags.medianMs).toBe(1500);
});
