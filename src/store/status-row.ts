/** The stored state table of the alarms: one row per rule, readable columns for all that is asked for. */
import type { Database } from 'better-sqlite3';
import type { AlarmStatus, Hold, HoldKind } from '../domain/alarm.ts';

interface StatusRow {
  readonly rule_id: string;
  readonly condition: AlarmStatus['condition'];
  readonly verdict: AlarmStatus['verdict'];
  readonly unknown_why: string | null;
  readonly last_known: AlarmStatus['lastKnown'];
  readonly verdict_since_ms: number | null;
  /** JSON of `AlarmStatus['breach']`. */
  readonly breach: string | null;
  readonly due_ms: number | null;
  readonly held_back_ms: number | null;
  readonly base: AlarmStatus['base'];
  /** The five hold columns are all null, or all but `hold_until_ms` set. */
  readonly hold_kind: HoldKind | null;
  readonly hold_by: string | null;
  readonly hold_why: string | null;
  readonly hold_since_ms: number | null;
  readonly hold_until_ms: number | null;
  readonly alarm_id: number | null;
}

export function statusUpsertOn(db: Database): (status: AlarmStatus) => void {
  const upsert = db.prepare<[StatusRow]>(
    `INSERT INTO alarm_status (rule_id, condition, verdict, unknown_why, last_known, verdict_since_ms, breach, due_ms, held_back_ms, base,
       hold_kind, hold_by, hold_why, hold_since_ms, hold_until_ms, alarm_id)
     VALUES (@rule_id, @condition, @verdict, @unknown_why, @last_known, @verdict_since_ms, @breach, @due_ms, @held_back_ms, @base,
       @hold_kind, @hold_by, @hold_why, @hold_since_ms, @hold_until_ms, @alarm_id)
     ON CONFLICT (rule_id) DO UPDATE SET
       condition = excluded.condition, verdict = excluded.verdict, unknown_why = excluded.unknown_why,
       last_known = excluded.last_known, verdict_since_ms = excluded.verdict_since_ms, breach = excluded.breach, due_ms = excluded.due_ms, held_back_ms = excluded.held_back_ms, base = excluded.base,
       hold_kind = excluded.hold_kind, hold_by = excluded.hold_by, hold_why = excluded.hold_why,
       hold_since_ms = excluded.hold_since_ms, hold_until_ms = excluded.hold_until_ms, alarm_id = excluded.alarm_id`,
  );
  return (status) => {
    upsert.run({
      rule_id: status.ruleId,
      condition: status.condition,
      verdict: status.verdict,
      unknown_why: status.unknownWhy,
      last_known: status.lastKnown,
      verdict_since_ms: status.verdictSinceMs,
      breach: status.breach === null ? null : JSON.stringify(status.breach),
      due_ms: status.dueMs,
      held_back_ms: status.heldBackMs,
      base: status.base,
      hold_kind: status.hold?.kind ?? null,
      hold_by: status.hold?.by ?? null,
      hold_why: status.hold?.why ?? null,
      hold_since_ms: status.hold?.sinceMs ?? null,
      hold_until_ms: status.hold?.untilMs ?? null,
      alarm_id: status.alarmId,
    });
  };
}

/** All of them, by rule id. */
export function statusListOn(db: Database): () => readonly AlarmStatus[] {
  const select = db.prepare<[], StatusRow>('SELECT * FROM alarm_status ORDER BY rule_id');
  return () => select.all().map(statusOf);
}

function statusOf(row: StatusRow): AlarmStatus {
  const breach: AlarmStatus['breach'] = row.breach === null ? null : JSON.parse(row.breach);
  return {
    ruleId: row.rule_id,
    condition: row.condition,
    verdict: row.verdict,
    unknownWhy: row.unknown_why,
    lastKnown: row.last_known,
    verdictSinceMs: row.verdict_since_ms,
    breach,
    dueMs: row.due_ms,
    heldBackMs: row.held_back_ms,
    base: row.base,
    hold: holdOf(row),
    alarmId: row.alarm_id,
  };
}

function holdOf({ hold_kind: kind, hold_by: by, hold_why: why, hold_since_ms: sinceMs, hold_until_ms: untilMs }: StatusRow): Hold | null {
  if (kind === null || by === null || why === null || sinceMs === null) return null;
  return { kind, by, why, sinceMs, untilMs };
}
