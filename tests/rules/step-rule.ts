/** One step of a rule over readings that a test keeps in whatever way suits it. */
import type { Point } from '../../src/domain/fleet.ts';
import type { Latest, Rule, RuleInput, RuleStep, WrongClock } from '../../src/rules/contract.ts';
import { Stepper } from '../../src/rules/step.ts';

/** By point id. */
export interface Readings {
  latest(pointId: string): Latest | null;
  /** The usable reading before the latest. */
  previous(pointId: string): Latest | null;
  lastStampMs?(pointId: string): number | null;
  offline?(pointId: string): string | null;
  wrongClock?(pointId: string): WrongClock | null;
  heardMs?(pointId: string): number | null;
}

export function stepRule(rule: Rule, state: unknown, input: RuleInput, readings: Readings, nowMs: number): RuleStep<unknown> {
  return stepperOf(rule, readings).step(state, input, nowMs);
}

/** Looks at the readings as they stand at each step. */
export function stepperOf(rule: Rule, readings: Readings): Stepper {
  return new Stepper(rule, (point: Point) => ({
    point,
    get latest() { return readings.latest(point.id); },
    get previous() { return readings.previous(point.id); },
    get lastStampMs() { return readings.lastStampMs?.(point.id) ?? null; },
    get offline() { return readings.offline?.(point.id) ?? null; },
    get wrongClock() { return readings.wrongClock?.(point.id) ?? null; },
    get heardMs() { return readings.heardMs?.(point.id) ?? null; },
    doubted: () => null,
  }));
}
