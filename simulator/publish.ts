/** Plays a scenario in real time: each message leaves when its time has come. */
import { SECOND } from '../src/domain/duration.ts';
import type { Clock } from '../src/clock.ts';
import type { Emission, Scenario } from './scenario.ts';
import { STEP_MS } from './world/world.ts';

export interface Playing {
  /** Resolves when no further message will leave. */
  stop(): Promise<void>;
}

export interface PublishOptions {
  readonly scenario: Scenario;
  readonly clock: Clock;
  readonly publish: (topic: string, payload: string | Buffer, emission: Emission) => Promise<void> | void;
  /** Called for a message that could not be published; it is not tried again, as a gateway without a buffer would do. */
  readonly onFailure: (emission: Emission, cause: unknown) => void;
}

/**
 * Starts with the scenario's present; if that lies behind the clock, what is late leaves at once. The world runs one step ahead of the
 * clock, so that messages inside a step leave at their own second.
 */
export function publishPaced({ scenario, clock, publish, onFailure }: PublishOptions): Playing {
  let waiting: Emission[] = [];
  let inFlight: Promise<void> | null = null;

  const leave = async (due: readonly Emission[]): Promise<void> => {
    for (const emission of due) {
      try {
        await publish(emission.topic, emission.payload, emission);
      } catch (cause) {
        onFailure(emission, cause);
      }
    }
  };
  const tick = (): void => {
    // A slow broker holds the next batch back; nothing is lost, it leaves with the one after.
    if (inFlight !== null) return;
    const nowMs = clock.now();
    waiting.push(...scenario.advance(nowMs + STEP_MS));
    const due = waiting.filter(({ atMs }) => atMs <= nowMs);
    if (due.length === 0) return;
    waiting = waiting.filter(({ atMs }) => atMs > nowMs);
    inFlight = leave(due).finally(() => {
      inFlight = null;
    });
  };
  const stopTicking = clock.every(SECOND / 4, tick);
  return {
    async stop() {
      stopTicking();
      if (inFlight !== null) await inFlight;
    },
  };
}
