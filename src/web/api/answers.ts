/** From what the pages work with to what the API answers. */
import type { z } from 'zod';
import type { Alarm } from '../../domain/alarm.ts';
import { kinds } from '../../domain/kinds.ts';
import type { Rule } from '../../rules/contract.ts';
import type { BoardRow } from '../board.ts';
import { pointsOfRule } from '../chart-spans.ts';
import type { Present } from '../present.ts';
import type { alarmShape, boardShape, presentShape } from './shapes.ts';

export function presentAnswer(present: Present): z.infer<typeof presentShape> {
  const { point, limits, state } = present;
  return {
    pointId: point.id, name: point.name, kind: point.kind, unit: kinds[point.kind].unit, state,
    value: present.state === 'current' ? present.value : null,
    lastValue: present.state === 'never' ? null : present.value,
    lastMs: present.state === 'never' ? null : present.atMs,
    low: limits.low, high: limits.high,
  };
}

export function boardAnswer(rows: readonly BoardRow[], nowMs: number): z.infer<typeof boardShape> {
  return {
    nowMs,
    tanks: rows.map((row) => ({
      tankId: row.tank.id, name: row.tank.name, client: row.clientName, site: row.site.name, standing: row.standing,
      alarmId: row.alarm?.id ?? null, priority: row.alarm?.policy.priority ?? null, title: row.alarm?.title ?? null, summary: row.alarm?.summary ?? null,
      sinceMs: row.sinceMs,
      otherAlarmIds: row.otherAlarms.map((alarm) => alarm.id),
      silentPointIds: row.silentPoints.map((point) => point.id),
      unknownRules: row.unknownRules, heldRules: row.heldRules,
      headlines: row.headlines.map(presentAnswer),
      lastContactMs: row.contactMs,
    })),
  };
}

export function alarmAnswer(alarm: Alarm, rules: readonly Rule[]): z.infer<typeof alarmShape> {
  const { id, ruleId, ruleKind, tankId, siteId, title, state, beganMs, openedMs, acknowledgedMs, acknowledgedBy, returnedMs, closedMs, summary } = alarm;
  return {
    id, ruleId, ruleKind, tankId, siteId, title, priority: alarm.policy.priority, state, beganMs, openedMs, acknowledgedMs, acknowledgedBy, returnedMs, closedMs, summary,
    evidence: alarm.evidence.map(({ label, value, kind, atMs }) => ({ label, value, unit: kind === undefined ? null : kinds[kind].unit, atMs: atMs ?? null })),
    pointIds: [...pointsOfRule(rules.find((rule) => rule.id === ruleId))],
  };
}
