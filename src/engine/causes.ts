/**
 * What explains an alarm right now, and how long it waits for an explanation. Decided from stored state alone (statuses and open alarms), never from
 * the present time or the order of a batch, so that a restart or another batch size finds the same.
 *
 * - A cause counts while its own alarm is open and its condition holds. One that a person has put aside explains nothing: a single shelf
 *   must not silence ten alarms unseen. One that is itself suppressed behind its cause goes on explaining.
 * - It keeps quiet only what is no more urgent than the alarm that somebody is rung for: the root of the chain. What is more urgent rings, and names it.
 * - One whose own rule has turned to unknown explains what begins within `unconfirmedMs` of it, and nothing new after that: nobody knows whether it still
 *   holds, and a meter that died with the mains must not keep a site quiet for days.
 * - An alarm opens as urgent as the most urgent condition that it explains and nobody has been rung for yet (`leadsTo`): one page, and at once. What
 *   becomes more urgent afterwards rings by itself: somebody has to get up for it.
 * - It may begin later than what it explains, because it is slower to show: by `causeLagMs` and what its kind says it takes to be sure.
 * - Before a condition rings that something could explain, it has been true for `glanceMs` (its on-delay counts), so that sensors that report seconds later are
 *   heard. While a cause is in its own on-delay, it waits for that, `mostHeldBackMs` at most. When that ends without an alarm (the mains blinked), what began with it has `endedMs` to end as well.
 */
import type { Explanation } from '../alarms/lifecycle.ts';
import { type Alarm, type AlarmStatus, isBehindCause, type Priority, urgencyOf } from '../domain/alarm.ts';
import { HOUR, MINUTE } from '../domain/duration.ts';
import { rootOf } from '../domain/explained.ts';
import { type PossibleCause, possibleCauses, speaksFor } from '../rules/causes.ts';
import type { Rule } from '../rules/contract.ts';

/** A condition that something could explain is true for this long at least before it rings. */
export const glanceMs = MINUTE;
/** However long the on-delay of a possible cause is, or however often it begins anew. */
export const mostHeldBackMs = 15 * MINUTE;
/** Sensors that report once a minute have said by then that it is over for them, too. */
export const endedMs = 2 * MINUTE;
/** A cause that began this much after its consequence, and what it takes to be sure (`surelyAfterMs`, `mostSureMs` at most), does not explain it. */
export const causeLagMs = HOUR;
export const mostSureMs = 12 * HOUR;
/** A cause that cannot be confirmed any more explains what begins within this time of it. */
export const unconfirmedMs = 6 * HOUR;

export interface Life {
  status(ruleId: string): AlarmStatus | null;
  alarm(alarmId: number): Alarm | null;
  /** State of the rule itself. */
  state(ruleId: string): unknown;
}

export class Causes {
  readonly #life: Life;
  readonly #causes: ReadonlyMap<string, readonly PossibleCause[]>;
  readonly #consequences = new Map<string, string[]>();
  readonly #rules: ReadonlyMap<string, Rule>;

  constructor(rules: readonly Rule[], life: Life) {
    this.#life = life;
    this.#causes = possibleCauses(rules);
    this.#rules = new Map(rules.map((rule) => [rule.id, rule]));
    for (const [ruleId, causes] of this.#causes) {
      for (const { cause } of causes) {
        const known = this.#consequences.get(cause.id);
        if (known === undefined) this.#consequences.set(cause.id, [ruleId]);
        else known.push(ruleId);
      }
    }
    for (const list of this.#consequences.values()) list.sort();
  }

  /** Rules that this one could explain, by id. */
  consequencesOf(ruleId: string): readonly string[] {
    return this.#consequences.get(ruleId) ?? [];
  }

  /** What of a cause its consequences depend on: while this stays the same, nothing changes for them. */
  faceOf(ruleId: string): string {
    const status = this.#life.status(ruleId);
    if (status === null) return '';
    const alarm = this.#openAlarm(status);
    if (alarm !== null) return `${alarm.id} ${this.#told(alarm).policy.priority}`;
    return isPending(status) ? `due ${status.dueMs}` : '';
  }

  /** @param status of the rule, which may be a step ahead of what is stored. */
  explain(rule: Rule, status: AlarmStatus, nowMs: number): Explanation {
    const causes = this.#causes.get(rule.id);
    if (causes === undefined) return { kind: 'none' };
    const own = status.alarmId === null ? null : this.#life.alarm(status.alarmId);
    const policy = own?.policy ?? rule.policy;
    const beganMs = (status.condition === 'clear' ? status.verdictSinceMs : own?.beganMs) ?? nowMs;
    const heldBackMs = status.heldBackMs ?? nowMs;
    let louder: Explanation | null = null;
    let couldExplain = false;
    let pendingMs: number | null = null;
    let overMs: number | null = null;
    for (const { cause, sides } of causes) {
      const its = this.#life.status(cause.id);
      if (its === null || !sides.some((side) => side === null || side === status.breach?.side)) continue;
      const alarm = this.#openAlarm(its);
      if (alarm !== null) {
        if (!speaksFor(cause, this.#life.state(cause.id), rule)) continue;
        if (own?.cause?.alarmId !== alarm.id && !isNear(alarm, its, beganMs, this.#lagMs(cause))) continue;
        const quiet = keepsQuiet(this.#told(alarm).policy.priority, policy.priority);
        const explained: Explanation = { kind: 'explained', cause: { alarmId: alarm.id, ruleId: cause.id, title: alarm.title, quiet } };
        if (quiet) return explained;
        louder ??= explained;
        continue;
      }
      if (its.hold !== null) continue;
      if (its.verdict === 'clear' && its.verdictSinceMs !== null && its.verdictSinceMs > beganMs) overMs = Math.max(overMs ?? 0, its.verdictSinceMs + endedMs);
      const isLess = !keepsQuiet(cause.policy.priority, policy.priority);
      // Whether it speaks for this (`speaksFor`) is not asked of one that is still opening: a gateway falls silent point by point. A less urgent one opens as urgent as this if it is heard first (`leadsTo`): it is given a moment, and no more.
      if (isPending(its) && (!isLess || (its.dueMs ?? 0) - heldBackMs <= glanceMs) && its.dueMs !== null && (its.verdictSinceMs ?? nowMs) - beganMs <= this.#lagMs(cause)) pendingMs = Math.max(pendingMs ?? 0, its.dueMs + 1);
      else if (isLess) continue;
      couldExplain = true;
    }
    if (couldExplain) {
      const untilMs = Math.max(
        pendingMs === null ? 0 : Math.min(pendingMs, heldBackMs + mostHeldBackMs),
        overMs === null ? 0 : Math.min(overMs, heldBackMs + mostHeldBackMs),
        heldBackMs + Math.max(0, glanceMs - policy.onDelayMs),
      );
      if (untilMs > nowMs) return { kind: 'wait', untilMs };
    }
    return louder ?? { kind: 'none' };
  }

  /**
   * The priority of the most urgent condition that an alarm of this rule would explain and nobody has been rung for: in its own delay, held back, or waiting for the
   * morning. What has rung already has its person. `null`: there is none.
   */
  leadsTo(rule: Rule, status: AlarmStatus): Priority | null {
    const beganMs = status.verdictSinceMs;
    let most: Priority | null = null;
    for (const id of this.consequencesOf(rule.id)) {
      const its = this.#life.status(id);
      const possible = this.#causes.get(id)?.find(({ cause }) => cause.id === rule.id);
      if (its === null || possible === undefined || its.verdict !== 'breached' || its.hold !== null) continue;
      if (!possible.sides.some((side) => side === null || side === its.breach?.side)) continue;
      const own = its.alarmId === null ? null : this.#life.alarm(its.alarmId);
      if (its.condition === 'breached' && (own?.state !== 'unacknowledged' || own.escalation.paged.length > 0)) continue;
      if (beganMs !== null && its.verdictSinceMs !== null && beganMs - its.verdictSinceMs > this.#lagMs(rule)) continue;
      const consequence = this.#rules.get(id);
      if (consequence === undefined || !speaksFor(rule, this.#life.state(rule.id), consequence)) continue;
      const { priority } = own?.policy ?? consequence.policy;
      if (most === null || urgencyOf(priority) < urgencyOf(most)) most = priority;
    }
    return most;
  }

  /** One that takes hours to be sure began hours before it says so. */
  #lagMs({ id, kind, settings, roles }: Rule): number {
    return causeLagMs + Math.min(mostSureMs, kind.surelyAfterMs?.(settings, { points: roles, state: this.#life.state(id) ?? kind.initial }) ?? 0);
  }

  /** The alarm of a rule, while it can explain others. */
  #openAlarm(status: AlarmStatus): Alarm | null {
    if (status.condition === 'clear' || status.alarmId === null) return null;
    const alarm = this.#life.alarm(status.alarmId);
    return alarm !== null && (status.hold === null || isBehindCause(alarm)) ? alarm : null;
  }

  #told(alarm: Alarm): Alarm {
    return rootOf(alarm, (id) => this.#life.alarm(id));
  }
}

const keepsQuiet = (cause: Priority, consequence: Priority): boolean => urgencyOf(cause) <= urgencyOf(consequence);

/** Did what began at `beganMs` begin at a time for which the cause speaks? */
const isNear = (cause: Alarm, its: AlarmStatus, beganMs: number, lagMs: number): boolean =>
  cause.beganMs - beganMs <= lagMs && (its.verdict !== 'unknown' || beganMs - cause.beganMs <= unconfirmedMs);

/** True, and in its own delay. */
const isPending = ({ condition, verdict, dueMs, hold }: AlarmStatus): boolean => condition === 'clear' && verdict === 'breached' && dueMs !== null && hold === null;
