/**
 * Alarms and their life. States after ANSI/ISA-18.2 and IEC 62682 (A normal … G out of service);
 * the transition table is in `src/alarms/lifecycle.ts`.
 */
import type { Evidence, Side } from './verdict.ts';

export const priorities = ['urgent', 'high', 'low', 'journal'] as const;
/** `urgent`: page now, any hour. `high`: page in hours, next morning otherwise. `low`: list and digest. `journal`: record only. */
export type Priority = (typeof priorities)[number];

/** States A–D: what the condition and the acknowledgement make of an alarm when nobody holds it back. */
export type BaseState = 'normal' | 'unacknowledged' | 'acknowledged' | 'returned';

/** States E–G. */
export type HoldKind = 'shelved' | 'suppressed' | 'out-of-service';

export type AlarmState = BaseState | HoldKind;

export interface Hold {
  readonly kind: HoldKind;
  readonly by: string;
  readonly why: string;
  readonly sinceMs: number;
  /** Ends by itself at this time; `null`: only by hand (out of service). */
  readonly untilMs: number | null;
}

/** How an alarm behaves; stamped on it when it opens, so that later edits touch later alarms. */
export interface AlarmPolicy {
  readonly priority: Priority;
  /** The condition must hold this long before the alarm opens. */
  readonly onDelayMs: number;
  /** The condition must be gone this long before the alarm returns. */
  readonly offDelayMs: number;
}

/** Live state of one rule's alarm: one stored row per rule. */
export interface AlarmStatus {
  readonly ruleId: string;
  /** The condition after on- and off-delay. `unknown` opens nothing and closes nothing. */
  readonly condition: 'clear' | 'breached';
  /** Latest verdict, undelayed. */
  readonly verdict: 'clear' | 'breached' | 'unknown';
  /** Why the verdict is unknown. */
  readonly unknownWhy: string | null;
  /** The last verdict that was not `unknown`, and reading time since when it has held (an `unknown` between does not restart it). */
  readonly lastKnown: 'clear' | 'breached';
  readonly verdictSinceMs: number | null;
  /** Numbers of the latest breached verdict before the alarm opened: what a delayed opening will show. */
  readonly breach: { readonly summary: string; readonly evidence: readonly Evidence[]; readonly side?: Side } | null;
  /** When the delayed condition will follow the verdict, unless it changes back. A stored deadline. */
  readonly dueMs: number | null;
  /** Its delay was over at this time, but a cause may still explain it: it is held back until `dueMs`. `null`: it is not. */
  readonly heldBackMs: number | null;
  readonly base: BaseState;
  readonly hold: Hold | null;
  /** The open alarm, if any. */
  readonly alarmId: number | null;
}

/** One life of an alarm, from opening to normal; kept for ever. */
export interface Alarm {
  readonly id: number;
  readonly ruleId: string;
  readonly ruleKind: string;
  readonly tankId: string;
  readonly siteId: string;
  readonly title: string;
  readonly policy: AlarmPolicy;
  readonly state: AlarmState;
  /** Reading time at which the condition began. */
  readonly beganMs: number;
  readonly openedMs: number;
  readonly acknowledgedMs: number | null;
  readonly acknowledgedBy: string | null;
  readonly returnedMs: number | null;
  readonly closedMs: number | null;
  readonly summary: string;
  readonly evidence: readonly Evidence[];
  readonly escalation: Escalation;
  /** What explains it at present; `null`: nothing does. */
  readonly cause: AlarmCause | null;
}

/** The alarm that explains another (`src/rules/causes.ts`). It may be explained itself. */
export interface AlarmCause {
  readonly alarmId: number;
  readonly ruleId: string;
  readonly title: string;
  /** Nobody is rung because of the cause. `false`: it is more urgent than its cause, and rings all the same. */
  readonly quiet: boolean;
}

/** Where the on-call escalation of one alarm stands. */
export interface Escalation {
  /** Index of the next step to page; counts on through repeats. */
  readonly nextStep: number;
  /** A stored deadline; `null`: nobody further is paged. */
  readonly dueMs: number | null;
  /** Who has been paged. */
  readonly paged: readonly string[];
  /** It has outlived its cause: the step that is paged for that, and since when it asks for somebody. */
  readonly surfaced?: { readonly step: number; readonly atMs: number };
}

export const isOpen = (alarm: Alarm): boolean => alarm.closedMs === null;

/** Suppressed by its cause, not put aside by a person. */
export const isBehindCause = (alarm: Alarm): boolean => alarm.state === 'suppressed' && alarm.cause !== null;

/** Since when somebody should have answered: not while it was suppressed. */
export const asksSinceMs = (alarm: Alarm): number => alarm.escalation.surfaced?.atMs ?? alarm.openedMs;

/** 0 is the most urgent. */
export const urgencyOf = (priority: Priority): number => priorities.indexOf(priority);
