/**
 * What a rule kind is. One file in `src/rules/kinds/` exports one of these as its default export; it is found at start-up,
 * checked (`load.ts`) and applied to every tank that has what it needs.
 *
 * A rule is a pure step function over the readings of a few points, named by *role*. It never reads a clock: `nowMs` is the time of
 * the reading, or of the wake-up it asked for. On- and off-delay, priorities and pages are not its business (`src/alarms/`).
 */
import type { z } from 'zod';
import type { Priority } from '../domain/alarm.ts';
import type { Equipment, Point, Site, Tank } from '../domain/fleet.ts';
import type { Verdict } from '../domain/verdict.ts';

export interface RuleKind<Settings = unknown, State = unknown> {
  /** File name and name in the fleet file: `heater-stuck-on`. */
  readonly kind: string;
  /** One sentence for people: what it watches for. */
  readonly watchesFor: string;
  /** Checks `settings` from the fleet file; every key has a default or is optional, and a `.describe()` sentence. */
  readonly settings: z.ZodType<Settings>;
  /** Checks a stored state; a state it refuses (an older version's) starts afresh as `initial`. */
  readonly state: z.ZodType<State>;
  readonly initial: State;
  readonly policy: { readonly priority: Priority; readonly onDelayMs: number; readonly offDelayMs: number };
  /**
   * Where this kind watches by itself on a tank, one proposal per subject (a heater, a point …), judged by what is installed.
   * A proposal whose points are missing is still made, with the roles left out: it is shown as unknown, with the reason.
   */
  apply(tank: TankFacts): readonly Proposal[];
  /**
   * Watches another subject because the fleet file asks for it; `subject` is a point or equipment id of the tank or its site.
   * A text says why it cannot and what to write instead. Left out: the kind watches only what `apply` proposes.
   */
  applyTo?(tank: TankFacts, subject: string): Proposal | string;
  /** Why settings that are each in order make no sense together or for this subject; `key` is the one to change. */
  objection?(settings: Settings, proposal: Proposal, tank: TankFacts): { readonly key: string; readonly message: string } | null;
  /**
   * One step. Must be pure; returns the *same* state object when nothing changed, so that nothing is written.
   */
  step(state: State, input: RuleInput, context: RuleContext<Settings>): RuleStep<State>;
  /**
   * For a kind that reads points of several gateways and rings for some of them: does its alarm, in this state, speak for this point? What it
   * speaks for it can explain (`causes.ts`, scope `gateway`). Left out: for all points it reads, if they come by one gateway.
   */
  speaksFor?(state: State, point: Point): boolean;
  /** Is stepped with readings that cannot be true as well; every other kind never sees one. */
  readonly hearsImpossible?: boolean;
  /**
   * For a kind that finds a *sensor* wrong, not what it measures: by role, why its values cannot be believed in this state (`has stood still since …`).
   * While it says so, and nobody has put its alarm aside, no other rule gets a current value of that point.
   */
  doubts?(state: State): Readonly<Record<string, string>>;
  /**
   * How long what has just begun takes until this kind is sure of it, by its own settings and the cadence of its points: what it asks for, never what it
   * took. Beside the on-delay. `state`: as it stands, for a kind that learns how patient it has to be. Left out: the first reading that shows it is enough.
   */
  surelyAfterMs?(settings: Settings, watched: { readonly points: ReadonlyMap<string, Point>; readonly state: State }): number;
  /** What to look at first, in order; plain sentences, cautions where hands come near water and mains (`cautions.ts`). */
  firstChecks(context: AdviceContext<Settings>): readonly string[];
}

export interface TankFacts {
  readonly tank: Tank;
  readonly site: Site;
  readonly equipment: readonly Equipment[];
  /** Points of the tank and of its site. */
  readonly points: readonly Point[];
  /** What hangs on the other tanks of the site, for rules about what they share: supply, circuits, gateways. */
  readonly neighbours: { readonly equipment: readonly Equipment[]; readonly points: readonly Point[] };
}

export interface Proposal {
  /** Point or equipment id the rule is about; the rule id is `tank/kind/last part of subject`. */
  readonly subject: string;
  /** `Heater 1 stuck on`, as shown in lists and subjects. */
  readonly title: string;
  /** Role → point id. */
  readonly roles: Readonly<Record<string, string>>;
  readonly equipment: Equipment | null;
  /** Why it cannot judge, when something it needs is not installed: `no power or current point on Heater 1`. */
  readonly missing: string | null;
  /** Settings under those of the fleet file, e.g. limits by kind of water. */
  readonly defaults: Readonly<Record<string, unknown>>;
  readonly policy?: { readonly priority?: Priority; readonly onDelayMs?: number; readonly offDelayMs?: number };
}

export type RuleInput =
  | { readonly type: 'reading'; readonly role: string; readonly atMs: number; readonly value: number }
  /** A reading that cannot be true for its kind of quantity. Only kinds that say `hearsImpossible` are given it. */
  | { readonly type: 'impossible'; readonly role: string; readonly atMs: number; readonly value: number }
  /** The time asked for by `wakeAtMs` has come. */
  | { readonly type: 'wake' };

export interface Latest {
  readonly atMs: number;
  readonly value: number;
}

export interface RuleContext<Settings> {
  readonly nowMs: number;
  readonly settings: Settings;
  readonly tank: Tank;
  readonly site: Site;
  readonly equipment: Equipment | null;
  /** The point in a role, if installed. */
  point(role: string): Point | null;
  /** Latest usable reading, if it is still current at `nowMs`: never a stale value. */
  current(role: string): Latest | null;
  /** Latest usable reading, however old. */
  latest(role: string): Latest | null;
  /** The usable reading before the latest. */
  previous(role: string): Latest | null;
  /** Why its value cannot be believed right now although it is fresh (`its gateway … is offline since …`), or `null`. `current` is then `null`. */
  offline(role: string): string | null;
  /** Why another rule does not believe its sensor (`doubts`), or `null`. `current` is then `null`. */
  doubted(role: string): string | null;
  /** Time of the latest reading of any quality, where that is known: later than `latest` when only impossible values come. */
  lastStampMs(role: string): number | null;
  /** Since when the clock of its source has been found wrong, and by how much it is behind (negative: ahead); `null`: nothing is known against it. */
  wrongClock(role: string): WrongClock | null;
  /**
   * Arrival of the latest message of its source while its stamps are too far off to be of now and it is not decided yet whether its clock is wrong or
   * it sends late; `null`: its stamps are believed, or it is found wrong and stamped on arrival. Somebody is there, whatever the stamps say.
   */
  heardMs(role: string): number | null;
}

export interface WrongClock {
  readonly sinceMs: number;
  readonly behindMs: number;
}

export interface AdviceContext<Settings> {
  readonly settings: Settings;
  readonly tank: Tank;
  readonly site: Site;
  readonly equipment: Equipment | null;
}

export interface RuleStep<State> {
  readonly state: State;
  readonly verdict: Verdict;
  /**
   * Wake me at this time even if no reading comes; `null`: no need; left out: as before, and `step.ts` sees to it that the rule is
   * woken when one of its points goes silent. A kind that sets its own wake-ups looks after silence itself.
   */
  readonly wakeAtMs?: number | null;
  /** Which readings cannot matter after this step; left out: any may. Says less rather than more, and nothing about a verdict of breached, whose words change with the numbers. */
  readonly quiet?: Quiet | undefined;
}

/**
 * A promise of a kind, so that most readings need not be stepped: from this step on, a step stamped earlier than `untilMs` returns this very state object, a verdict of the same
 * state (and, if unknown, for the same reason) and no new wake-up, if all that has come since is readings within the bands of their roles, and wake-ups for silence that found none.
 *
 * Whoever steps (`src/engine/watch.ts`) steps as ever, and forgets the promise, when anything else comes: a reading stamped before this step, the first of a point or the first after a
 * silence of it, one that is impossible or too late to be judged; a point that falls silent, goes offline or comes back, is doubted or believed again, changes its cadence; anything about
 * the clock of a source; a wake-up that the kind asked for. So a kind has to think of values and of time only. It must not be promised of what is read with `previous`.
 */
export interface Quiet {
  /** `Infinity`: whenever. */
  readonly untilMs: number;
  /** Role → lowest and highest value, both included. Any value of a role that is left out. */
  readonly within?: Readonly<Record<string, Band>>;
}

export type Band = readonly [low: number, high: number];

/** Whatever comes, and whenever. */
export const quietForever: Quiet = { untilMs: Number.POSITIVE_INFINITY };

/** A rule kind bound to a tank: what runs. */
export interface Rule {
  /** `tank/kind/subject`. */
  readonly id: string;
  readonly kind: RuleKind;
  readonly title: string;
  readonly facts: TankFacts;
  readonly subject: string;
  readonly roles: ReadonlyMap<string, Point>;
  readonly equipment: Equipment | null;
  readonly missing: string | null;
  readonly settings: unknown;
  readonly policy: { readonly priority: Priority; readonly onDelayMs: number; readonly offDelayMs: number };
}

/** Types the pieces of a kind together, then forgets the types: the loader keeps kinds of every sort in one list. */
export function defineRule<Settings, State>(kind: RuleKind<Settings, State>): RuleKind {
  return kind as unknown as RuleKind;
}
