/**
 * Hands routed messages to the engine and tells when each is committed, so that its sender can be acknowledged then and not before.
 * When the queue is full, messages that can wait do; those that cannot (QoS 0) are dropped and said to be.
 */
import type { Clock } from '../src/clock.ts';
import type { Deliver, Delivery } from '../src/domain/delivery.ts';
import type { PresenceChange } from '../src/domain/presence.ts';
import type { Refusal, Sample } from '../src/domain/reading.ts';
import type { UnclaimedMessage } from '../src/domain/unclaimed.ts';
import type { Routed } from './router.ts';
import { shorten } from './source.ts';

/** How often to knock again when nothing of ours is under way whose commit would tell us of room. */
const KNOCK_MS = 50;
/** Refusals about dropped messages that are kept until there is room for them; the count goes on. */
const MAX_DROP_NOTES = 100;

/** Whoever waits for the store to have a message: a connection. An object of a class, since one closure a message would cost more than most of its way. */
export interface Acknowledger {
  acknowledge(messageId: number): void;
}

interface Waiting {
  readonly routed: Routed;
  readonly arrivedMs: number;
  readonly to: Acknowledger;
  readonly messageId: number;
}

/** For what nobody waits for. */
export const nobody: Acknowledger = { acknowledge: () => undefined };

export class HandOver {
  readonly #deliver: Deliver;
  readonly #clock: Clock;
  readonly #onRoom: () => void;
  #waiting: Waiting[] = [];
  #dropNotes: Refusal[] = [];
  #knocking = false;
  #retrying = false;
  #closed = false;
  underWay = 0;
  droppedQos0 = 0;

  /** @param onRoom called when waiting messages have been taken. */
  constructor(deliver: Deliver, clock: Clock, onRoom: () => void = () => {}) {
    this.#deliver = deliver;
    this.#clock = clock;
    this.#onRoom = onRoom;
  }

  get waiting(): number {
    return this.#waiting.length;
  }

  /** For a message whose sender waits for an acknowledgement. In order: nothing overtakes what waits. */
  put(routed: Routed, arrivedMs: number, to: Acknowledger, messageId: number): void {
    if (this.#waiting.length > 0 || !this.#offer(routed, arrivedMs, to, messageId)) {
      this.#waiting.push({ routed, arrivedMs, to, messageId });
      this.#knock();
    }
  }

  /** For a message at QoS 0: now or never. */
  putOrDrop(routed: Routed, arrivedMs: number, topic: string): void {
    if (this.#offer(routed, arrivedMs, nobody, 0)) return;
    this.droppedQos0 += 1;
    if (this.#dropNotes.length >= MAX_DROP_NOTES) return;
    this.#dropNotes.push({
      source: shorten(topic, 200), pointId: null, excerpt: '',
      reason: 'the queue was full and the message, sent at QoS 0, was lost; publish at QoS 1, which waits',
    });
  }

  /** Forgets waiting messages of a connection whose broker will send them again. */
  forget(isGone: (to: Acknowledger) => boolean): void {
    this.#waiting = this.#waiting.filter(({ to }) => !isGone(to));
  }

  /** Offers nothing any more; what is under way may still be committed. */
  close(): void {
    this.#closed = true;
    this.#waiting = [];
  }

  /** @returns when nothing is under way any more, or after `atMostMs`. */
  async settled(atMostMs: number): Promise<void> {
    for (let waitedMs = 0; this.underWay > 0 && waitedMs < atMostMs; waitedMs += 10) await this.#clock.sleep(10);
  }

  #offer(routed: Routed, arrivedMs: number, to: Acknowledger, messageId: number): boolean {
    if (this.#closed) return false;
    const notes = this.#dropNotes;
    const refusals = notes.length === 0 ? routed.refusals : [...routed.refusals, ...notes];
    if (!this.#deliver(new Handed(this, arrivedMs, routed, refusals, to, messageId))) return false;
    this.underWay += 1;
    if (notes.length > 0) this.#dropNotes = [];
    return true;
  }

  /** For `Handed` only. */
  settle(): void {
    this.underWay -= 1;
    if (this.#waiting.length > 0) this.#retry();
  }

  #retry(): void {
    // An engine that commits within `deliver` comes back in here.
    if (this.#retrying) return;
    this.#retrying = true;
    let taken = 0;
    for (const { routed, arrivedMs, to, messageId } of this.#waiting) {
      if (!this.#offer(routed, arrivedMs, to, messageId)) break;
      taken += 1;
    }
    this.#waiting.splice(0, taken);
    this.#retrying = false;
    if (taken > 0) this.#onRoom();
  }

  #knock(): void {
    if (this.#knocking) return;
    this.#knocking = true;
    void this.#clock.sleep(KNOCK_MS).then(() => {
      this.#knocking = false;
      if (this.#closed) return;
      this.#retry();
      if (this.#waiting.length > 0) this.#knock();
    });
  }
}

const none: readonly never[] = [];

class Handed implements Delivery {
  readonly arrivedMs: number;
  readonly samples: readonly Sample[];
  readonly refusals: readonly Refusal[];
  readonly presence: readonly PresenceChange[];
  readonly unclaimed: readonly UnclaimedMessage[];
  readonly #owner: HandOver;
  readonly #to: Acknowledger;
  readonly #messageId: number;

  constructor(owner: HandOver, arrivedMs: number, { samples, presence = none, unclaimed = none }: Routed, refusals: readonly Refusal[], to: Acknowledger, messageId: number) {
    this.#owner = owner;
    this.arrivedMs = arrivedMs;
    this.samples = samples;
    this.refusals = refusals;
    this.presence = presence;
    this.unclaimed = unclaimed;
    this.#to = to;
    this.#messageId = messageId;
  }

  committed(): void {
    this.#to.acknowledge(this.#messageId);
    this.#owner.settle();
  }
}
