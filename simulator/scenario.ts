/**
 * A run of the simulated fleet: the world stepped on a fixed grid, faults begun and ended on a timetable, and the messages the sites would
 * have sent. The same fleet, seed, start and timetable give the same bytes, however the run is cut into calls.
 */
import { HOUR, MINUTE, SECOND } from '../src/domain/duration.ts';
import type { Fleet } from '../src/domain/fleet.ts';
import type { Kind } from '../src/domain/kinds.ts';
import type { Fault } from './faults/fault.ts';
import { Instrument } from './instruments/instrument.ts';
import { measureOf } from './instruments/measure.ts';
import { type MessagePlan, planMessages } from './message.ts';
import { streamKey, uniformAt } from './random.ts';
import { nothingHappens, type Occurrence, type Timetable } from './timetable.ts';
import { type Habits, STEP_MS, World } from './world/world.ts';

export interface ScenarioOptions {
  /** As read from the fleet file. */
  readonly fleet: Fleet;
  readonly seed: number;
  /** Rounded down to a whole step. */
  readonly startMs: number;
  /** Default: nothing happens. */
  readonly timetable?: Timetable;
  /** Default: calm. In a messy one sensors glitch and gateways pause as well. */
  readonly habits?: Habits;
  /**
   * Before `untilMs` a topic sends no more often than `everyMs`, but at once when something electrical in it switches or shifts by a fifth,
   * as gateways that report on change do: so that a month stays small and no start of a compressor is lost.
   */
  readonly history?: { readonly untilMs: number; readonly everyMs: number };
}

export interface Emission {
  readonly siteId: string;
  readonly topic: string;
  readonly payload: string | Buffer;
  /** When it leaves the site; whole seconds. */
  readonly atMs: number;
  readonly samples: readonly EmittedSample[];
}

export interface EmittedSample {
  readonly pointId: string;
  /** As the message says it, where it carries a time (the clock of the gateway may be wrong); otherwise when it leaves. */
  readonly atMs: number;
  /** In the point's declared unit. */
  readonly value: number;
}

export interface Scenario {
  /** Everything before this has happened and been emitted. */
  readonly nowMs: number;
  /** The truth. */
  readonly world: World;
  readonly instruments: ReadonlyMap<string, Instrument>;
  /** Runs on by whole steps, never past `toMs`. @returns what was sent, in order of time. */
  advance(toMs: number): Emission[];
  /** Runs on likewise without sending: for a demo that continues where it stopped. */
  skip(toMs: number): void;
  /** Begins a fault now; returns once its effect is in the world, visible from the next step on. */
  begin(fault: Fault): void;
  end(fault: Fault): void;
  /** Faults at work, with when they began. */
  active(): readonly Occurrence[];
}

/** @throws Error when the fleet has a point the simulator cannot measure or send. */
export function makeScenario(options: ScenarioOptions): Scenario {
  return new Run(options);
}

/** Of all messages, those that never arrive. */
const DROPOUT_SHARE = 0.002;

/** A gateway of a messy world is away for one to four minutes, about twice a week. */
const PAUSE_SLOT_MS = 6 * HOUR;
const PAUSE_SHARE = 1 / 14;
/** Of the readings of a sensor in a messy world: about one a month at one a minute. */
const GLITCH_SHARE = 2e-5;

const electrical: ReadonlySet<Kind> = new Set(['power', 'current', 'voltage', 'switch']);

class Run implements Scenario {
  readonly world: World;
  readonly instruments: ReadonlyMap<string, Instrument>;
  readonly #timetable: Timetable;
  readonly #history: { readonly untilMs: number; readonly everyMs: number };
  readonly #senders: readonly Sender[];
  /** By site; empty in a calm world. */
  readonly #pauseKeys: ReadonlyMap<string, number>;
  #active: Occurrence[] = [];

  constructor({ fleet, seed, startMs, timetable, history, habits = 'calm' }: ScenarioOptions) {
    this.world = new World(fleet, seed, Math.floor(startMs / STEP_MS) * STEP_MS, habits);
    this.#pauseKeys = new Map(habits === 'messy' ? fleet.sites.map(({ id }) => [id, streamKey(seed, `pauses ${id}`)]) : []);
    this.#timetable = timetable ?? nothingHappens;
    this.#history = history ?? { untilMs: Number.NEGATIVE_INFINITY, everyMs: 0 };
    this.instruments = new Map(fleet.points.map((point) => [point.id, new Instrument(point, measureOf(point, fleet, this.world), seed)]));
    if (habits === 'messy') for (const instrument of this.instruments.values()) instrument.glitchShare = GLITCH_SHARE;
    this.#senders = planMessages(fleet).map((plan) => new Sender(plan, this.instruments, seed, this.world.nowMs));
  }

  get nowMs(): number {
    return this.world.nowMs;
  }

  advance(toMs: number): Emission[] {
    const sent: Emission[] = [];
    this.#run(toMs, sent);
    return sent;
  }

  skip(toMs: number): void {
    this.#run(toMs, null);
  }

  begin(fault: Fault): void {
    this.#begin({ fault, beginMs: this.nowMs, endMs: null });
  }

  end(fault: Fault): void {
    fault.undo(this, this.nowMs);
    this.#active = this.#active.filter((occurrence) => occurrence.fault !== fault);
  }

  active(): readonly Occurrence[] {
    return this.#active;
  }

  #begin(occurrence: Occurrence): void {
    occurrence.fault.apply(this, this.nowMs);
    this.#active.push(occurrence);
  }

  #run(toMs: number, sent: Emission[] | null): void {
    while (this.nowMs + STEP_MS <= toMs) {
      const fromMs = this.nowMs;
      const nextMs = fromMs + STEP_MS;
      for (const { fault, endMs } of this.#active) if (endMs !== null && endMs <= fromMs) this.end(fault);
      for (const occurrence of this.#timetable(fromMs, nextMs)) this.#begin(occurrence);
      for (const { fault } of this.#active) fault.progress?.(this, fromMs);
      this.world.step();
      const leastMs = nextMs <= this.#history.untilMs ? this.#history.everyMs : 0;
      const ofStep: Emission[] = [];
      for (const sender of this.#senders) {
        const { gatewaySilent, clockErrorMs } = this.world.site(sender.plan.siteId);
        sender.send(nextMs, leastMs, gatewaySilent || pauses(this.#pauseKeys.get(sender.plan.siteId), nextMs), clockErrorMs, sent === null ? null : ofStep);
      }
      if (ofStep.length > 1) ofStep.sort((a, b) => a.atMs - b.atMs);
      sent?.push(...ofStep);
    }
  }
}

function pauses(key: number | undefined, atMs: number): boolean {
  if (key === undefined) return false;
  const slot = Math.floor(atMs / PAUSE_SLOT_MS);
  if (uniformAt(key, slot) >= PAUSE_SHARE) return false;
  const beginMs = slot * PAUSE_SLOT_MS + uniformAt(key ^ 1, slot) * (PAUSE_SLOT_MS - 4 * MINUTE);
  return atMs >= beginMs && atMs < beginMs + (1 + 3 * uniformAt(key ^ 2, slot)) * MINUTE;
}

/** Its bytes are written when they are asked for: whoever feeds samples needs none. */
class Sent implements Emission {
  readonly siteId: string;
  readonly topic: string;
  readonly atMs: number;
  readonly samples: readonly EmittedSample[];
  readonly #plan: MessagePlan;
  readonly #values: readonly (number | null)[];
  readonly #stampMs: number;
  readonly #number: number;

  constructor(plan: MessagePlan, values: readonly (number | null)[], atMs: number, stampMs: number, number: number) {
    this.siteId = plan.siteId;
    this.topic = plan.writer.topicAt(number);
    this.atMs = atMs;
    const samples: EmittedSample[] = [];
    for (let index = 0; index < values.length; index += 1) {
      const value = values[index];
      const point = plan.points[index];
      if (value === undefined || value === null || point === undefined) continue;
      samples.push({ pointId: point.id, atMs: plan.writer.timed[index] === true ? stampMs : atMs, value });
    }
    this.samples = samples;
    this.#plan = plan;
    this.#values = values;
    this.#stampMs = stampMs;
    this.#number = number;
  }

  get payload(): string | Buffer {
    return this.#plan.writer.write(this.#values, this.#stampMs, this.#number);
  }
}

/** Sends one topic on its cadence, with the jitter of a cheap gateway. */
class Sender {
  readonly plan: MessagePlan;
  readonly #instruments: readonly Instrument[];
  readonly #key: number;
  readonly #phaseMs: number;
  #count = 0;
  /** Messages that left. */
  #left = 0;
  #dueMs: number;
  #sentMs = Number.NEGATIVE_INFINITY;
  #sentTruths: readonly number[] = [];

  constructor(plan: MessagePlan, instruments: ReadonlyMap<string, Instrument>, seed: number, startMs: number) {
    this.plan = plan;
    this.#instruments = plan.points.flatMap((point) => instruments.get(point.id) ?? []);
    this.#key = streamKey(seed, `topic ${plan.topic}`);
    this.#phaseMs = startMs + Math.floor((uniformAt(this.#key, 0) * plan.everyMs) / SECOND) * SECOND;
    this.#dueMs = this.#dueAt(0);
  }

  /** Whatever is due by `toMs`, as the world stands. `sent` is `null` when nobody listens. */
  send(toMs: number, leastMs: number, silent: boolean, clockErrorMs: number, sent: Emission[] | null): void {
    while (this.#dueMs <= toMs) {
      const atMs = this.#dueMs;
      const count = this.#count;
      this.#count += 1;
      this.#dueMs = this.#dueAt(this.#count);
      // Half a cadence of grace: readings one cadence apart with jitter should not become two apart.
      if (leastMs > this.plan.everyMs && atMs - this.#sentMs < leastMs - this.plan.everyMs / 2 && !this.#shifted()) continue;
      const values = this.#instruments.map((instrument) => {
        const value = instrument.read(atMs);
        return instrument.silent ? null : value;
      });
      if (uniformAt(this.#key ^ 1, count) < DROPOUT_SHARE) continue;
      this.#sentMs = atMs;
      if (leastMs > 0) this.#sentTruths = this.#instruments.map((instrument) => instrument.truth);
      if (silent || values.every((value) => value === null)) continue;
      this.#left += 1;
      sent?.push(new Sent(this.plan, values, atMs, atMs + clockErrorMs, this.#left - 1));
    }
  }

  #dueAt(count: number): number {
    const jitterMs = Math.min(SECOND, this.plan.everyMs / 8) * (2 * uniformAt(this.#key, count + 1) - 1);
    return this.#phaseMs + count * this.plan.everyMs + Math.round(jitterMs / SECOND) * SECOND;
  }

  #shifted(): boolean {
    return this.#instruments.some((instrument, index) => {
      const before = this.#sentTruths[index];
      if (before === undefined || !electrical.has(instrument.point.kind)) return false;
      const { truth } = instrument;
      return Math.abs(truth - before) > 0.2 * Math.max(truth, before);
    });
  }
}
