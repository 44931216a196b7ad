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
  const knownOf = (point: Point) => ({
    point, latest: readings.latest(point.id), previous: readings.previous(point.id), lastStampMs: readings.lastStampMs?.(point.id) ?? null,
    offline: readings.offline?.(point.id) ?? null, wrongClock: readings.wrongClock?.(point.id) ?? null,
    heardMs: readings.heardMs?.(point.id) ?? null, doubted: () => null,
  });
  return new Stepper(rule, knownOf).step(state, input, nowMs);
}
