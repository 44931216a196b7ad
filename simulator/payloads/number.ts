/** One value as text; without time. */
import type { Point } from '../../src/domain/fleet.ts';
import type { PayloadWriter } from './payload.ts';

/** @throws Error for more than one point. */
export function numberWriter(topic: string, points: readonly Point[]): PayloadWriter {
  if (points.length !== 1) throw new Error(`topic ${topic}: the simulator writes one "number" to a topic, not ${points.length}; give each point its own topic, or use json`);
  return { timed: [false], topicAt: () => topic, write: ([value]) => String(value) };
}
