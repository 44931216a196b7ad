/** While the disk takes nothing, what waits for it is bounded: in messages, and in what they carry. */
import { expect, test } from 'vitest';
import { StandingClock } from '../../src/clock.ts';
import type { Delivery } from '../../src/domain/delivery.ts';
import { Engine, queueSamplesBound } from '../../src/engine/engine.ts';
import { makeLogger } from '../../src/log.ts';
import type { Store } from '../../src/store/contract.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { storyFleet } from '../stories/fleet.ts';

const nowMs = Date.parse('2026-03-03T18:00:00Z');
const each = 5000;

test.each<[string, (pointId: string) => Partial<Delivery>]>([
  ['samples of long messages', (pointId) => ({ samples: Array.from({ length: each }, (_, i) => ({ pointId, atMs: nowMs - each + i, value: 25, unit: null })) })],
  ['messages no point reads', () => ({ unclaimed: Array.from({ length: each }, () => ({ topic: 'x', siteId: null, arrivedMs: nowMs, bytes: new Uint8Array(1) })) })],
])('%s', async (_name, carried) => {
  const { fleet } = await storyFleet();
  const memory = await openSqliteStore(':memory:');
  let open = (): void => undefined;
  let gate: Promise<void> = Promise.resolve();
  const store: Store = { ...memory, commit: (batch) => gate.then(() => memory.commit(batch)) };
  const clock = new StandingClock(nowMs);
  const engine = await Engine.start({ store, fleet, rules: [], clock, log: makeLogger('silent', clock.now), onPages: () => undefined, onFatal: (error) => { throw error; } });
  gate = new Promise((resolve) => { open = resolve; });
  const part = carried(fleet.points[0]?.id ?? '');
  let taken = 0;
  let committed = 0;
  const offer = (): boolean => engine.deliver({ arrivedMs: nowMs, samples: [], refusals: [], ...part, committed: () => { committed += 1; } });
  while (taken < 100 && offer()) taken += 1;
  expect(taken).toBeGreaterThan(0);
  expect(taken).toBeLessThanOrEqual(queueSamplesBound / each);
  // It takes again as soon as the disk does, down to the last of what waited.
  open();
  await engine.settle();
  expect(committed).toBe(taken);
  let again = 0;
  while (again < 100 && offer()) again += 1;
  expect(again).toBe(taken);
  await engine.stop();
  await memory.close();
});
