import { describe, expect, it } from 'vitest';
import { MINUTE, SECOND } from '../../src/domain/duration.ts';
import type { Clock } from '../../src/clock.ts';
import { publishPaced } from '../../simulator/publish.ts';
import { type Emission, makeScenario } from '../../simulator/scenario.ts';
import { demoFleet } from './demo-fleet.ts';

const fleet = await demoFleet();
const startMs = Date.UTC(2026, 2, 3, 4, 5);

/** A clock moved by hand. */
function handClock(nowMs: number) {
  let now = nowMs;
  let tick = (): void => undefined;
  const clock: Clock = {
    now: () => now,
    every: (_everyMs, run) => {
      tick = run;
      return () => {
        tick = () => undefined;
      };
    },
    soon: (run) => queueMicrotask(run),
    sleep: () => Promise.resolve(),
  };
  const settle = async (): Promise<void> => {
    for (let turn = 0; turn < 400; turn += 1) await Promise.resolve();
  };
  return {
    clock,
    async forward(ms: number): Promise<void> {
      for (const end = now + ms; now < end; ) {
        now += SECOND / 4;
        tick();
        await settle();
      }
    },
  };
}

describe('publishing in real time', () => {
  it('sends every message of the scenario at its own second', async () => {
    const hand = handClock(startMs);
    const sent: { readonly emission: Emission; readonly leftMs: number }[] = [];
    const playing = publishPaced({
      scenario: makeScenario({ fleet, seed: 1, startMs }),
      clock: hand.clock,
      publish: (topic, payload, emission) => {
        expect({ topic, payload }).toEqual({ topic: emission.topic, payload: emission.payload });
        sent.push({ emission, leftMs: hand.clock.now() });
      },
      onFailure: (_emission, cause) => {
        throw cause;
      },
    });
    await hand.forward(MINUTE);
    await playing.stop();
    for (const { emission, leftMs } of sent) {
      expect(leftMs).toBeGreaterThanOrEqual(emission.atMs);
      expect(leftMs - emission.atMs).toBeLessThanOrEqual(SECOND);
    }
    const expected = makeScenario({ fleet, seed: 1, startMs }).advance(startMs + 2 * MINUTE).filter(({ atMs }) => atMs <= startMs + MINUTE);
    expect(sent.map(({ emission }) => emission)).toEqual(expected);
    const count = sent.length;
    await hand.forward(MINUTE);
    expect(sent.length).toBe(count);
  });

  it('reports a message that could not leave and goes on with the rest', async () => {
    const hand = handClock(startMs);
    const failed: string[] = [];
    const left: string[] = [];
    publishPaced({
      scenario: makeScenario({ fleet, seed: 1, startMs }),
      clock: hand.clock,
      publish: async (topic) => {
        if (topic === 'quill-lobby/strip-a') throw new Error('no broker');
        left.push(topic);
      },
      onFailure: ({ topic }, cause) => failed.push(`${topic}: ${cause instanceof Error ? cause.message : ''}`),
    });
    await hand.forward(MINUTE);
    expect(new Set(failed)).toEqual(new Set(['quill-lobby/strip-a: no broker']));
    expect(new Set(left).size).toBeGreaterThan(20);
  });
});
