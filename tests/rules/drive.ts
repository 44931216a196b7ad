/** Drives one rule as the engine does: readings and wake-ups in the order of time, latest and previous kept per point. */
import type { Verdict } from '../../src/domain/verdict.ts';
import type { Latest, Rule, RuleStep } from '../../src/rules/contract.ts';
import { restoreState, type Stepper } from '../../src/rules/step.ts';
import { type Readings, stepperOf } from './step-rule.ts';

export class Drive {
  state: unknown;
  verdict: Verdict = { state: 'unknown', why: 'not started' };
  wakeAtMs: number | null = null;
  nowMs: number;
  /** How often the state became another object: what would have been written. */
  writes = 0;
  readonly #rule: Rule;
  readonly #stepper: Stepper;
  readonly #latest = new Map<string, Latest>();
  readonly #previous = new Map<string, Latest>();
  readonly #stamps = new Map<string, number>();

  constructor(rule: Rule, startMs: number) {
    this.#rule = rule;
    this.#stepper = stepperOf(rule, this.#readings);
    this.state = rule.kind.initial;
    this.nowMs = startMs;
    this.#take(this.#stepper.step(this.state, { type: 'wake' }, startMs));
  }

  readonly #readings: Readings = {
    latest: (pointId: string) => this.#latest.get(pointId) ?? null,
    previous: (pointId: string) => this.#previous.get(pointId) ?? null,
    lastStampMs: (pointId: string) => this.#stamps.get(pointId) ?? null,
  };

  /** A usable reading; wake-ups that are due by then come first. */
  reading(pointId: string, atMs: number, value: number): Verdict {
    this.until(atMs);
    this.backfill(pointId, atMs, value);
    for (const [role, point] of this.#rule.roles) {
      if (point.id === pointId) this.#take(this.#stepper.step(this.state, { type: 'reading', role, atMs, value }, atMs));
    }
    return this.verdict;
  }

  /** A reading that is kept without being stepped, as the engine does with what arrives late. */
  backfill(pointId: string, atMs: number, value: number): void {
    const latest = this.#latest.get(pointId);
    if (latest !== undefined) this.#previous.set(pointId, latest);
    this.#latest.set(pointId, { atMs, value });
    this.#stamps.set(pointId, atMs);
  }

  /** A reading that cannot be true: stored, judged only by a kind that asks for such. */
  impossible(pointId: string, atMs: number, value = -127): void {
    this.until(atMs);
    this.#stamps.set(pointId, atMs);
    if (this.#rule.kind.hearsImpossible !== true) return;
    for (const [role, point] of this.#rule.roles) {
      if (point.id === pointId) this.#take(this.#stepper.step(this.state, { type: 'impossible', role, atMs, value }, atMs));
    }
  }

  /** Lets time pass. */
  until(atMs: number): Verdict {
    while (this.wakeAtMs !== null && this.wakeAtMs <= atMs) {
      const wakeMs = this.wakeAtMs;
      this.wakeAtMs = null;
      this.#take(this.#stepper.step(this.state, { type: 'wake' }, wakeMs));
    }
    this.nowMs = Math.max(this.nowMs, atMs);
    return this.verdict;
  }

  /** What a restart does to a state: out to JSON, back through the kind's own check. */
  restart(): void {
    const stored: unknown = JSON.parse(JSON.stringify(this.state));
    this.#rule.kind.state.parse(stored);
    const restored = restoreState(this.#rule, stored);
    this.state = restored === null ? this.#rule.kind.initial : restored.state;
  }

  #take(step: RuleStep<unknown>): void {
    if (step.state !== this.state) this.writes += 1;
    this.state = step.state;
    this.verdict = step.verdict;
    if (step.wakeAtMs !== undefined) this.wakeAtMs = step.wakeAtMs;
  }
}

export const T0 = Date.UTC(2026, 2, 1);

/** The sentence of a breached verdict, for comparison; fails on any other. */
export function summaryOf(verdict: Verdict): string {
  if (verdict.state !== 'breached') throw new Error(`expected breached, got ${JSON.stringify(verdict)}`);
  return verdict.summary;
}

export function whyOf(verdict: Verdict): string {
  if (verdict.state !== 'unknown') throw new Error(`expected unknown, got ${JSON.stringify(verdict)}`);
  return verdict.why;
}

/** A piece of evidence as text. */
export function evidenceOf(verdict: Verdict, label: string): string | number {
  const found = verdict.state === 'breached' ? verdict.evidence.find((piece) => piece.label === label) : undefined;
  if (found === undefined) throw new Error(`no evidence “${label}” in ${JSON.stringify(verdict)}`);
  return found.value;
}
