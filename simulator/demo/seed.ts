/**
 * Thirty days of history, run through the real engine, rules, outbox and store on a clock of its own: what stands in the journal
 * afterwards is what Tankbell would have written had it watched.
 */
import { StandingClock } from '../../src/clock.ts';
import type { Fleet } from '../../src/domain/fleet.ts';
import { HOUR, MINUTE, SECOND } from '../../src/domain/duration.ts';
import { Engine } from '../../src/engine/engine.ts';
import type { Logger } from '../../src/log.ts';
import type { AckLinks } from '../../src/notify/ack-link.ts';
import type { Channel } from '../../src/notify/channel.ts';
import { startSender } from '../../src/notify/sender.ts';
import type { Rule } from '../../src/rules/contract.ts';
import type { Store } from '../../src/store/contract.ts';
import type { Scenario } from '../scenario.ts';
import { streamKey, uniformAt } from '../random.ts';
import type { DemoMailbox } from './mailbox.ts';

export interface SeedParts {
  readonly store: Store;
  readonly fleet: Fleet;
  readonly rules: readonly Rule[];
  readonly scenario: Scenario;
  readonly mailbox: DemoMailbox;
  readonly links: AckLinks;
  readonly log: Logger;
  readonly notice: string;
  readonly seed: number;
  /** Real time: history ends where now begins, however long the seeding takes. */
  readonly now: () => number;
  readonly onProgress: (share: number) => void;
}

const sliceMs = 10 * MINUTE;
/** Nobody of the invented crew touches what happens just before the demo goes live. */
const handsOffMs = 40 * MINUTE;

export async function seedHistory(parts: SeedParts): Promise<void> {
  const { store, fleet, rules, scenario, log } = parts;
  const startMs = scenario.nowMs;
  const liveMs = parts.now();
  const clock = new StandingClock(startMs);
  const engine = await Engine.start({ store, fleet, rules, clock, log, onPages: () => undefined, onFatal: fail });
  const sender = startSender({ outbox: store, history: store, fleet: () => fleet, rules: () => rules, live: engine.view, channel: intoMailbox(parts.mailbox, clock), links: parts.links, clock, log, notice: parts.notice });
  const crew = new Crew(engine, fleet, parts.seed);
  let told = -1;
  while (scenario.nowMs < parts.now() - 10 * SECOND) {
    const toMs = Math.min(scenario.nowMs + sliceMs, parts.now());
    for (const emission of scenario.advance(toMs)) {
      clock.set(emission.atMs);
      engine.deliver({ arrivedMs: emission.atMs, samples: emission.samples.map((sample) => ({ ...sample, unit: null })), refusals: [], committed: () => undefined });
    }
    clock.set(scenario.nowMs);
    await engine.settle();
    await sendAll(store, sender, clock);
    if (clock.now() < liveMs - handsOffMs) await crew.work(clock.now());
    const share = Math.min(1, (scenario.nowMs - startMs) / (liveMs - startMs));
    if (Math.floor(share * 20) > told) {
      told = Math.floor(share * 20);
      parts.onProgress(share);
    }
  }
  await engine.stop();
  await sender.stop();
}

function fail(error: Error): void {
  throw error;
}

/** Hands each page over two seconds after it was decided, as a sender that is awake does. */
async function sendAll(store: Store, sender: ReturnType<typeof startSender>, clock: StandingClock): Promise<void> {
  const resumeMs = clock.now();
  for (let oldestMs = await store.oldestUnsentMs(); oldestMs !== null; oldestMs = await store.oldestUnsentMs()) {
    clock.set(oldestMs + 2 * SECOND);
    sender.nudge();
    // The sender works in steps between which others run; a bound, so that a page that cannot be sent stops the seeding and not the machine.
    for (let turns = 0; (await store.oldestUnsentMs()) === oldestMs; turns += 1) {
      if (turns > 100_000) throw new Error(`a page of ${new Date(oldestMs).toISOString()} is not sent: ${sender.status().lastError ?? 'no reason given'}`);
      await new Promise<void>((resolve) => clock.soon(resolve));
    }
  }
  clock.set(resumeMs);
}

function intoMailbox(mailbox: DemoMailbox, clock: StandingClock): Channel {
  return {
    name: 'e-mail',
    send: async ({ messageId, to, subject, text }) => mailbox.add({ id: `<${messageId}@demo>`, atMs: clock.now(), to: to.email, subject, text }),
    close: async () => undefined,
  };
}

/** Invented technicians who acknowledge within some minutes what rings, and within some hours what is only on the list. */
class Crew {
  readonly #engine: Engine;
  readonly #fleet: Fleet;
  readonly #key: number;

  constructor(engine: Engine, fleet: Fleet, seed: number) {
    this.#engine = engine;
    this.#fleet = fleet;
    this.#key = streamKey(seed, 'crew');
  }

  async work(nowMs: number): Promise<void> {
    for (const alarm of this.#engine.view.openAlarms.values()) {
      if (alarm.state !== 'unacknowledged' && alarm.state !== 'returned') continue;
      const chance = uniformAt(this.#key, alarm.id);
      const delayMs = alarm.policy.priority === 'urgent' ? (3 + 9 * chance) * MINUTE : alarm.policy.priority === 'high' ? (20 + 60 * chance) * MINUTE : (2 + 20 * chance) * HOUR;
      if (nowMs < alarm.openedMs + delayMs) continue;
      const personId = alarm.escalation.paged.at(-1) ?? this.#fleet.onCall.steps[0]?.personId;
      const by = this.#fleet.people.find(({ id }) => id === personId)?.name ?? 'nobody';
      await this.#engine.command({ type: 'acknowledge', alarmId: alarm.id, by, via: 'link' });
    }
  }
}
