/** From what the pages work with to what the API answers. */
import type { z } from 'zod';
import type { Alarm } from '../../domain/alarm.ts';
import { kinds } from '../../domain/kinds.ts';
import type { Rule } from '../../rules/contract.ts';
import type { BoardRow } from '../board.ts';
import { pointsOfRule } from '../chart-spans.ts';
import type { Present } from '../present.ts';
import type { ImportJob, ImportLook, NotReadable } from '../../engine/import-contract.ts';
import type { alarmShape, boardShape, importShape, presentShape } from './shapes.ts';

export function presentAnswer(present: Present): z.infer<typeof presentShape> {
  const { point, limits, state } = present;
  return {
    pointId: point.id, name: point.name, kind: point.kind, unit: kinds[point.kind].unit, state,
    value: present.state === 'current' ? present.value : null,
    lastValue: present.state === 'never' ? null : present.value,
    lastMs: present.state === 'never' ? null : present.atMs,
    offlineWhy: present.offlineWhy,
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
      explainedAlarmIds: row.explained.map((alarm) => alarm.id),
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
    cause: alarm.cause === null ? null : { ...alarm.cause },
    pointIds: [...pointsOfRule(rules.find((rule) => rule.id === ruleId))],
  };
}

export type ImportAnswer = z.infer<typeof importShape>;

export function jobAnswer(job: ImportJob): ImportAnswer {
  const { state, problem, bytesRead, report } = job.progress();
  return { id: job.id, state, problem, bytes: job.bytes, bytesRead, ...report, refused: [...report.refused], perPoint: [...report.perPoint], leftOut: [...report.leftOut], questions: [], columns: [] };
}

/** What a dry run found. */
export function lookAnswer(found: ImportLook | NotReadable): ImportAnswer {
  const nothing: ImportAnswer = {
    id: null, state: 'looked', problem: null, bytes: 0, bytesRead: 0, rowsRead: 0, stored: 0, alreadyKnown: 0, refusedTotal: 0, refused: [], missing: 0, span: null, perPoint: [], leftOut: [], leftOutTotal: 0, questions: [], columns: [],
  };
  if ('wrong' in found) return { ...nothing, problem: `line ${found.line}: ${found.wrong}` };
  const { report, questions, columns } = found;
  return {
    ...nothing, ...(report === null ? {} : { ...report, refused: [...report.refused], perPoint: [...report.perPoint], leftOut: [...report.leftOut] }), questions: [...questions],
    columns: columns.map(({ label, target, chosenUnit, unit, why, isProposal, problem }) => ({ label, target, unit: chosenUnit ?? unit, why, isProposal, problem })),
  };
}
