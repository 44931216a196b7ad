/** An alarm and its row: columns for what is asked for, JSON for the rest. */
import type { Database } from 'better-sqlite3';
import type { Alarm, AlarmCause, AlarmState, Escalation, Priority } from '../domain/alarm.ts';
import type { Evidence } from '../domain/verdict.ts';

export interface AlarmRow {
  readonly id: number;
  readonly rule_id: string;
  readonly rule_kind: string;
  readonly tank_id: string;
  readonly site_id: string;
  readonly title: string;
  readonly priority: Priority;
  readonly on_delay_ms: number;
  readonly off_delay_ms: number;
  readonly state: AlarmState;
  readonly began_ms: number;
  readonly opened_ms: number;
  readonly acknowledged_ms: number | null;
  readonly acknowledged_by: string | null;
  readonly returned_ms: number | null;
  readonly closed_ms: number | null;
  readonly summary: string;
  /** JSON of `Evidence[]`. */
  readonly evidence: string;
  /** JSON of `Escalation`. */
  readonly escalation: string;
  /** JSON of `AlarmCause`. */
  readonly cause: string | null;
}

/** Adds an alarm, or replaces the row of that id. */
export function alarmUpsertOn(db: Database): (alarm: Alarm) => void {
  const upsert = db.prepare<[AlarmRow]>(
    `INSERT INTO alarm (id, rule_id, rule_kind, tank_id, site_id, title, priority, on_delay_ms, off_delay_ms, state, began_ms, opened_ms,
       acknowledged_ms, acknowledged_by, returned_ms, closed_ms, summary, evidence, escalation, cause)
     VALUES (@id, @rule_id, @rule_kind, @tank_id, @site_id, @title, @priority, @on_delay_ms, @off_delay_ms, @state, @began_ms, @opened_ms,
       @acknowledged_ms, @acknowledged_by, @returned_ms, @closed_ms, @summary, @evidence, @escalation, @cause)
     ON CONFLICT (id) DO UPDATE SET
       rule_id = excluded.rule_id, rule_kind = excluded.rule_kind, tank_id = excluded.tank_id, site_id = excluded.site_id,
       title = excluded.title, priority = excluded.priority, on_delay_ms = excluded.on_delay_ms, off_delay_ms = excluded.off_delay_ms,
       state = excluded.state, began_ms = excluded.began_ms, opened_ms = excluded.opened_ms,
       acknowledged_ms = excluded.acknowledged_ms, acknowledged_by = excluded.acknowledged_by,
       returned_ms = excluded.returned_ms, closed_ms = excluded.closed_ms,
       summary = excluded.summary, evidence = excluded.evidence, escalation = excluded.escalation, cause = excluded.cause`,
  );
  return (alarm) => {
    upsert.run({
      id: alarm.id,
      rule_id: alarm.ruleId,
      rule_kind: alarm.ruleKind,
      tank_id: alarm.tankId,
      site_id: alarm.siteId,
      title: alarm.title,
      priority: alarm.policy.priority,
      on_delay_ms: alarm.policy.onDelayMs,
      off_delay_ms: alarm.policy.offDelayMs,
      state: alarm.state,
      began_ms: alarm.beganMs,
      opened_ms: alarm.openedMs,
      acknowledged_ms: alarm.acknowledgedMs,
      acknowledged_by: alarm.acknowledgedBy,
      returned_ms: alarm.returnedMs,
      closed_ms: alarm.closedMs,
      summary: alarm.summary,
      evidence: JSON.stringify(alarm.evidence),
      escalation: JSON.stringify(alarm.escalation),
      cause: alarm.cause === null ? null : JSON.stringify(alarm.cause),
    });
  };
}

export function alarmOf(row: AlarmRow): Alarm {
  const evidence: readonly Evidence[] = JSON.parse(row.evidence);
  const escalation: Escalation = JSON.parse(row.escalation);
  const cause: AlarmCause | null = row.cause === null ? null : JSON.parse(row.cause);
  return {
    id: row.id,
    ruleId: row.rule_id,
    ruleKind: row.rule_kind,
    tankId: row.tank_id,
    siteId: row.site_id,
    title: row.title,
    policy: { priority: row.priority, onDelayMs: row.on_delay_ms, offDelayMs: row.off_delay_ms },
    state: row.state,
    beganMs: row.began_ms,
    openedMs: row.opened_ms,
    acknowledgedMs: row.acknowledged_ms,
    acknowledgedBy: row.acknowledged_by,
    returnedMs: row.returned_ms,
    closedMs: row.closed_ms,
    summary: row.summary,
    evidence,
    escalation,
    cause,
  };
}
