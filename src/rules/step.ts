/**
 * Runs one rule, step by step. The same rule, state, input, readings and time give the same answer.
 *
 * What the engine promises: readings are stepped in time order per point (late ones are not stepped at all); `latest` and `previous`
 * already include the reading being stepped; a wake is stepped at the time the rule asked for, and once at the start for a rule
 * that has no stored wake.
 */
import type { Equipment, Point, Site, Tank } from '../domain/fleet.ts';
import { type Latest, quietForever, type Rule, type RuleContext, type RuleInput, type RuleStep, type WrongClock } from './contract.ts';

/** What is known of a point. Whoever keeps it changes it in place: rules are bound to it once and look at it as it stands. */
export interface PointNow {
  /** With the cadence it has at present. */
  readonly point: Point;
  /** Usable readings. */
  readonly latest: Latest | null;
  readonly previous: Latest | null;
  /** Time of the latest reading of any quality, where that is known. */
  readonly lastStampMs: number | null;
  /** Why it cannot be believed right now. */
  readonly offline: string | null;
  /** What is wrong with the clock of its source. */
  readonly wrongClock: WrongClock | null;
  /** Arrival of the latest message of its source while its clock is under suspicion. */
  readonly heardMs: number | null;
  /** Why another rule than this one does not believe it. */
  doubted(askedBy: string): string | null;
}

/** A rule bound to what is known of its points: what is called for every reading makes nothing anew. */
export class Stepper {
  readonly #rule: Rule;
  readonly #context: StepContext;
  /** Is the wake-up that is set one for silence, and none that the kind has asked for? */
  wakesForSilence = false;

  constructor(rule: Rule, knownOf: (point: Point) => PointNow) {
    this.#rule = rule;
    this.#context = new StepContext(rule, knownOf);
  }

  /** @returns the next state (the same object if nothing changed), the verdict, and a wake-up unless it stays as it was. */
  step(state: unknown, input: RuleInput, nowMs: number): RuleStep<unknown> {
    const { kind, missing } = this.#rule;
    if (missing !== null) return { state, verdict: { state: 'unknown', why: missing }, wakeAtMs: null, quiet: quietForever };
    const context = this.#context;
    context.nowMs = nowMs;
    const step = kind.step(state, input, context);
    if (step.wakeAtMs !== undefined) this.wakesForSilence = false;
    if (input.type !== 'wake' || step.wakeAtMs !== undefined) return step;
    this.wakesForSilence = true;
    const wakeAtMs = context.silenceWakeMs(nowMs);
    return step.quiet === undefined ? { state: step.state, verdict: step.verdict, wakeAtMs } : { state: step.state, verdict: step.verdict, wakeAtMs, quiet: step.quiet };
  }

  /** When to look for silence again after `nowMs`, for a rule that leaves that to this class; `null`: it has no points. */
  silenceWakeMs(nowMs: number): number | null {
    return this.#context.silenceWakeMs(nowMs);
  }

  /** The first moment after `nowMs` at which one of its points that is not silent then falls silent, if nothing more comes of it. */
  silentFromMs(nowMs: number): number {
    return this.#context.silentFromMs(nowMs);
  }
}

/** A stored state as its kind reads it; `null` for one that the kind refuses (an older version's): then it starts afresh. */
export function restoreState(rule: Rule, stored: unknown): { readonly state: unknown } | null {
  const parsed = rule.kind.state.safeParse(stored);
  return parsed.success ? { state: parsed.data } : null;
}

/** The first moment at which a reading `latest` of `point` is not current any more. */
export function silentAtMs(point: Point, latest: Latest): number {
  return latest.atMs + point.silentAfterMs + 1;
}

/** Is the latest reading of this role the first one, or the first after a silence? */
export function cameBackFromSilence(context: Pick<RuleContext<unknown>, 'point' | 'latest' | 'previous'>, role: string): boolean {
  const latest = context.latest(role);
  const point = context.point(role);
  if (latest === null || point === null) return false;
  const previous = context.previous(role);
  return previous === null || latest.atMs - previous.atMs > point.silentAfterMs;
}

class StepContext implements RuleContext<unknown> {
  nowMs = Number.NaN;
  readonly settings: unknown;
  readonly tank: Tank;
  readonly site: Site;
  readonly equipment: Equipment | null;
  readonly #points: ReadonlyMap<string, PointNow>;
  readonly #all: readonly PointNow[];

  readonly #ruleId: string;

  constructor({ id, settings, facts, equipment, roles }: Rule, knownOf: (point: Point) => PointNow) {
    this.#ruleId = id;
    this.settings = settings;
    this.tank = facts.tank;
    this.site = facts.site;
    this.equipment = equipment;
    this.#points = new Map([...roles].map(([role, point]) => [role, knownOf(point)]));
    this.#all = [...this.#points.values()];
  }

  point(role: string): Point | null {
    return this.#points.get(role)?.point ?? null;
  }

  offline(role: string): string | null {
    return this.#points.get(role)?.offline ?? null;
  }

  doubted(role: string): string | null {
    return this.#points.get(role)?.doubted(this.#ruleId) ?? null;
  }

  current(role: string): Latest | null {
    const known = this.#points.get(role);
    if (known === undefined) return null;
    const { latest } = known;
    return latest !== null && this.nowMs - latest.atMs <= known.point.silentAfterMs && known.offline === null && known.doubted(this.#ruleId) === null ? latest : null;
  }

  latest(role: string): Latest | null {
    return this.#points.get(role)?.latest ?? null;
  }

  previous(role: string): Latest | null {
    return this.#points.get(role)?.previous ?? null;
  }

  lastStampMs(role: string): number | null {
    return this.#points.get(role)?.lastStampMs ?? null;
  }

  wrongClock(role: string): WrongClock | null {
    return this.#points.get(role)?.wrongClock ?? null;
  }

  /**
   * When to look for silence again: set only when it fires, not moved with every reading. No point can fall silent unnoticed before: a current one
   * not before its own time, and one that is silent now would first have to come back and then keep its silence just as long.
   */
  silenceWakeMs(nowMs: number): number | null {
    let earliest: number | null = null;
    for (const { point, latest } of this.#all) {
      const silentAt = latest === null ? 0 : silentAtMs(point, latest);
      const lookAt = silentAt > nowMs ? silentAt : nowMs + point.silentAfterMs + 1;
      if (earliest === null || lookAt < earliest) earliest = lookAt;
    }
    return earliest;
  }

  silentFromMs(nowMs: number): number {
    let earliest = Number.POSITIVE_INFINITY;
    for (const { point, latest } of this.#all) {
      if (latest === null) continue;
      const silentAt = silentAtMs(point, latest);
      if (silentAt > nowMs && silentAt < earliest) earliest = silentAt;
    }
    return earliest;
  }

  heardMs(role: string): number | null {
    return this.#points.get(role)?.heardMs ?? null;
  }
}
