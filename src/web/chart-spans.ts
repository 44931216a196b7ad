/** Which alarms are marked on which chart, and from when to when. */
import type { Alarm, Priority } from '../domain/alarm.ts';
import type { Rule } from '../rules/contract.ts';
import type { Span } from './series.ts';

export interface AlarmSpan {
  readonly alarmId: number;
  readonly title: string;
  readonly priority: Priority;
  readonly fromMs: number;
  /** When the condition was over; `null`: it still holds. */
  readonly toMs: number | null;
  /** Somebody has it, or it is over: drawn hollow. */
  readonly taken: boolean;
  readonly pointIds: readonly string[];
}

export function alarmSpan(alarm: Alarm, rules: readonly Rule[]): AlarmSpan {
  return {
    alarmId: alarm.id, title: alarm.title, priority: alarm.policy.priority, fromMs: alarm.beganMs, toMs: alarm.returnedMs ?? alarm.closedMs, taken: alarm.acknowledgedMs !== null || alarm.closedMs !== null,
    pointIds: pointsOfRule(rules.find((rule) => rule.id === alarm.ruleId)),
  };
}

export function pointsOfRule(rule: Rule | undefined): readonly string[] {
  return rule === undefined ? [] : [...new Set([...rule.roles.values()].map((point) => point.id))];
}

export function touches(span: AlarmSpan, { fromMs, toMs }: Span): boolean {
  return span.fromMs < toMs && (span.toMs === null || span.toMs > fromMs);
}
