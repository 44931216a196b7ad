/**
 * Runs one step of one rule. Pure: the same rule, state, input, readings and time give the same answer.
 *
 * What the engine promises: readings are stepped in time order per point (late ones are not stepped at all); `latest` and `previous`
 * already include the reading being stepped; a wake is stepped at the time the rule asked for, and once at the start for a rule
 * that has no stored wake.
 */
import type { Equipment, Point, Site, Tank } from '../domain/fleet.ts';
import type { Latest, Rule, RuleContext, RuleInput, RuleStep, WrongClock } from './contract.ts';

/** Usable readings, by point id. */
export interface Readings {
  latest(pointId: string): Latest | null;
  /** The usable reading before the latest. */
  previous(pointId: string): Latest | null;
  /** Time of the latest reading of any quality; left out where nobody keeps it. */
  lastStampMs?(pointId: string): number | null;
  /** Why the point cannot be believed right now; left out where no gateway speaks for its points. */
  offline?(pointId: string): string | null;
  /** Why another rule than this one does not believe the point; left out where nobody asks. */
  doubted?(pointId: string, askedBy: string): string | null;
  /** What is wrong with the clock of the point's source; left out where nobody watches clocks. */
  wrongClock?(pointId: string): WrongClock | null;
  /** Arrival of the latest message of the point's source while its clock is under suspicion; left out where nobody watches clocks. */
  heardMs?(pointId: string): number | null;
  /** The point with the cadence it has at present; left out where the fleet's is all there is. */
  atPresent?(point: Point): Point;
}

/** @returns the next state (the same object if nothing changed), the verdict, and a wake-up unless it stays as it was. */
export function stepRule(rule: Rule, state: unknown, input: RuleInput, readings: Readings, nowMs: number): RuleStep<unknown> {
  if (rule.missing !== null) return { state, verdict: { state: 'unknown', why: rule.missing }, wakeAtMs: null };
  const step = rule.kind.step(state, input, new StepContext(rule, readings, nowMs));
  if (input.type !== 'wake' || step.wakeAtMs !== undefined) return step;
  return { state: step.state, verdict: step.verdict, wakeAtMs: silenceWakeMs(rule, readings, nowMs) };
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

/**
 * When to look for silence again: set only when it fires, not moved with every reading. No point can fall silent unnoticed before: a current one
 * not before its own time, and one that is silent now would first have to come back and then keep its silence just as long.
 */
function silenceWakeMs(rule: Rule, readings: Readings, nowMs: number): number | null {
  let earliest: number | null = null;
  for (const declared of rule.roles.values()) {
    const point = readings.atPresent?.(declared) ?? declared;
    const latest = readings.latest(point.id);
    const silentAt = latest === null ? 0 : silentAtMs(point, latest);
    const lookAt = silentAt > nowMs ? silentAt : nowMs + point.silentAfterMs + 1;
    if (earliest === null || lookAt < earliest) earliest = lookAt;
  }
  return earliest;
}

/** Is the latest reading of this role the first one, or the first after a silence? */
export function cameBackFromSilence(context: Pick<RuleContext<unknown>, 'point' | 'latest' | 'previous'>, role: string): boolean {
  const latest = context.latest(role);
  const point = context.point(role);
  if (latest === null || point === null) return false;
  const previous = context.previous(role);
  return previous === null || latest.atMs - previous.atMs > point.silentAfterMs;
}

/** Methods on a prototype, not closures: this is made for every reading. */
class StepContext implements RuleContext<unknown> {
  readonly nowMs: number;
  readonly #rule: Rule;
  readonly #readings: Readings;

  constructor(rule: Rule, readings: Readings, nowMs: number) {
    this.nowMs = nowMs;
    this.#rule = rule;
    this.#readings = readings;
  }

  get settings(): unknown {
    return this.#rule.settings;
  }

  get tank(): Tank {
    return this.#rule.facts.tank;
  }

  get site(): Site {
    return this.#rule.facts.site;
  }

  get equipment(): Equipment | null {
    return this.#rule.equipment;
  }

  point(role: string): Point | null {
    const point = this.#rule.roles.get(role);
    return point === undefined ? null : (this.#readings.atPresent?.(point) ?? point);
  }

  offline(role: string): string | null {
    const point = this.#rule.roles.get(role);
    return point === undefined ? null : (this.#readings.offline?.(point.id) ?? null);
  }

  doubted(role: string): string | null {
    const point = this.#rule.roles.get(role);
    return point === undefined ? null : (this.#readings.doubted?.(point.id, this.#rule.id) ?? null);
  }

  current(role: string): Latest | null {
    const point = this.point(role);
    if (point === null) return null;
    const latest = this.#readings.latest(point.id);
    if (latest !== null && (this.offline(role) ?? this.doubted(role)) !== null) return null;
    return latest !== null && this.nowMs - latest.atMs <= point.silentAfterMs ? latest : null;
  }

  latest(role: string): Latest | null {
    const point = this.#rule.roles.get(role);
    return point === undefined ? null : this.#readings.latest(point.id);
  }

  previous(role: string): Latest | null {
    const point = this.#rule.roles.get(role);
    return point === undefined ? null : this.#readings.previous(point.id);
  }

  lastStampMs(role: string): number | null {
    const point = this.#rule.roles.get(role);
    return point === undefined ? null : (this.#readings.lastStampMs?.(point.id) ?? null);
  }

  wrongClock(role: string): WrongClock | null {
    const point = this.#rule.roles.get(role);
    return point === undefined ? null : (this.#readings.wrongClock?.(point.id) ?? null);
  }

  heardMs(role: string): number | null {
    const point = this.#rule.roles.get(role);
    return point === undefined ? null : (this.#readings.heardMs?.(point.id) ?? null);
  }
}
