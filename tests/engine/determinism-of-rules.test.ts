/**
 * Every kind of rule on the tanks that rules are scored on, through some days of a messy life and a fault: the same readings, replayed by the hour, live message by message,
 * and in batches of random size with the process killed and the fleet taken anew in between, give the same alarms, the same pages, the same words in them, and rules that
 * remember the same.
 * (`determinism.test.ts` does it with made-up readings of every unruly sort.)
 */
import { expect, test } from 'vitest';
import { randomSequence, streamKey } from '../../simulator/random.ts';
import { type TankKind, tankKinds } from '../../simulator/tank-kinds.ts';
import { makeTrial, type Trial } from '../../simulator/trial.ts';
import { StandingClock } from '../../src/clock.ts';
import type { Delivery } from '../../src/domain/delivery.ts';
import { DAY, HOUR, MINUTE } from '../../src/domain/duration.ts';
import { Engine } from '../../src/engine/engine.ts';
import { makeLogger } from '../../src/log.ts';
import { makeAckLinks } from '../../src/notify/ack-link.ts';
import { gather } from '../../src/notify/gather.ts';
import { composePage } from '../../src/notify/message.ts';
import type { Store } from '../../src/store/contract.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { loadFleets, type Watched } from '../scorecard/fleets.ts';

const fleets = await loadFleets();

/** Faults that many rules have something to say of, and that explain each other's alarms. */
const faultOf: Readonly<Record<TankKind, string>> = { 'small-reef': 'mains-lost', 'large-reef': 'circuit-lost', 'planted-fresh': 'gateway-silent', 'cold-marine': 'leak' };
const settleMs = 1.5 * DAY;
const watchMs = 12 * HOUR;

type Course =
  /** Hour by hour. */
  | { readonly type: 'replayed' }
  /** Message by message from shortly before the fault on, time ticking after each; as it came before that. */
  | { readonly type: 'live' }
  /** In batches of random size, ticks or not, killed and started again, the fleet taken anew. */
  | { readonly type: 'restarted'; readonly seed: number };

interface Outcome {
  readonly alarms: readonly unknown[];
  readonly pages: readonly unknown[];
  readonly texts: readonly string[];
  readonly journal: readonly unknown[];
  /** What each rule has learnt and remembers: a difference here would be one of alarms some day. */
  readonly states: readonly unknown[];
}

async function watched(trial: Trial, { fleet, rules }: Watched, course: Course): Promise<Outcome> {
  const clock = new StandingClock(trial.startMs);
  const store = await openSqliteStore(':memory:');
  const start = (): Promise<Engine> => Engine.start({ store, fleet, rules, clock, log: makeLogger('silent', clock.now), onPages: () => undefined, onFatal: (error) => { throw error; } });
  let engine = await start();
  let waiting: Promise<void>[] = [];
  const allCommitted = async (): Promise<void> => {
    await Promise.all(waiting);
    waiting = [];
  };
  const chance = randomSequence(streamKey(course.type === 'restarted' ? course.seed : 0, 'batches'));
  const liveFromMs = (trial.truth?.beginMs ?? trial.endMs) - HOUR;
  let nextMs = 0;
  let left = 0;
  let acknowledgedMs = trial.startMs;
  for (const slice of trial.run().slices(HOUR)) {
    for (const { arrivedMs, samples } of slice) {
      clock.set(arrivedMs);
      // Somebody acknowledges now and then, at the same moments in every run.
      if (arrivedMs - acknowledgedMs >= 20 * MINUTE) {
        acknowledgedMs = arrivedMs;
        await allCommitted();
        const open = [...engine.view.openAlarms.values()].filter(({ state }) => state === 'unacknowledged').sort((a, b) => a.id - b.id)[0];
        if (open !== undefined) await engine.command({ type: 'acknowledge', alarmId: open.id, by: 'robin', via: 'web' });
      }
      waiting.push(new Promise((resolve) => {
        const delivery: Delivery = { arrivedMs, samples: samples.map((sample) => ({ ...sample, unit: null })), refusals: [], committed: resolve };
        expect(engine.deliver(delivery)).toBe(true);
      }));
      if (course.type === 'replayed' ? arrivedMs >= nextMs : course.type === 'live' ? arrivedMs >= liveFromMs || arrivedMs >= nextMs : left === 0) {
        await allCommitted();
        nextMs = arrivedMs + HOUR;
        // From one message to a few hours of them.
        left = Math.floor(Math.exp(7 * chance.uniform()));
        if (course.type === 'live') await engine.settle();
        if (course.type === 'restarted') {
          if (chance.uniform() < 0.3) await engine.settle();
          if (chance.uniform() < 0.3) engine = await start();
          else if (chance.uniform() < 0.2) await engine.applyFleet(fleet, rules);
        }
      }
      left -= 1;
    }
  }
  await allCommitted();
  clock.set(trial.endMs);
  await engine.settle();
  const outcome = await outcomeOf(store, { fleet, rules }, engine, trial.endMs);
  await engine.stop();
  await store.close();
  return outcome;
}

async function outcomeOf(store: Store, { fleet, rules }: Watched, { view }: Engine, nowMs: number): Promise<Outcome> {
  const alarms = await store.alarms({ limit: 10_000 });
  const pages = await store.pages({ limit: 10_000 });
  const journal = (await store.journal({ limit: 100_000 })).map(({ id: _id, ...entry }) => entry).sort((a, b) => a.atMs - b.atMs || (a.text < b.text ? -1 : 1));
  const texts: string[] = [];
  for (const page of pages) {
    const { facts } = await gather(page, {
      history: store, fleet: () => fleet, rules: () => rules, live: view, links: makeAckLinks(new Uint8Array(32).fill(7), 'https://bell.example.invalid'),
      log: makeLogger('silent', () => nowMs), notice: null, senderStartedMs: 0,
    }, nowMs);
    texts.push(facts === null ? `${page.id}: nobody to write to` : composePage(facts).text);
  }
  const states = [...(await store.load()).ruleStates].sort((a, b) => (a.ruleId < b.ruleId ? -1 : 1));
  return { alarms, pages, texts, journal, states };
}

test('the four tanks have every kind of rule between them', () => {
  const judged = new Set(tankKinds.flatMap((kind) => fleets.of(kind).rules.filter(({ missing }) => missing === null).map((rule) => rule.kind.kind)));
  expect([...fleets.kinds.keys()].filter((kind) => !judged.has(kind))).toEqual([]);
});

test.each(tankKinds)('%s', { timeout: 60_000 }, async (kind) => {
  const of = fleets.of(kind);
  const trial = makeTrial({ fleet: of.fleet, seed: 41, fault: faultOf[kind], settleMs, watchMs });
  if (trial === null) throw new Error(`${faultOf[kind]} cannot happen to ${kind}`);
  const replayed = await watched(trial, of, { type: 'replayed' });
  expect(replayed.pages.length).toBeGreaterThan(0);
  expect(await watched(trial, of, { type: 'live' })).toEqual(replayed);
  expect(await watched(trial, of, { type: 'restarted', seed: 1 })).toEqual(replayed);
});
