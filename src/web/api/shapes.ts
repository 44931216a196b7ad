/** What the API answers with. Times are milliseconds since 1970, values in the canonical unit of their kind; `null` is "not known". */
import { z } from 'zod';
import { priorities } from '../../domain/alarm.ts';
import { journalKinds } from '../../domain/journal.ts';
import { standings } from '../board.ts';

const ms = z.number().int().describe('Milliseconds since 1970-01-01T00:00Z.');

export const presentShape = z.object({
  pointId: z.string(),
  name: z.string(),
  kind: z.string(),
  unit: z.string(),
  state: z.enum(['current', 'stale', 'never']).describe('`stale`: the last value is older than the point may be silent, or its gateway is offline, and it is not what is there now.'),
  offlineWhy: z.string().nullable().describe('What its gateway says against its value (`its gateway … is offline since …`); null: nothing.'),
  value: z.number().nullable().describe('Present value; null unless `current`.'),
  lastValue: z.number().nullable().describe('Latest value, however old.'),
  lastMs: ms.nullable(),
  low: z.number().nullable(),
  high: z.number().nullable(),
});

export const boardShape = z.object({
  nowMs: ms,
  tanks: z.array(z.object({
    tankId: z.string(),
    name: z.string(),
    client: z.string(),
    site: z.string(),
    standing: z.enum(standings),
    alarmId: z.number().int().nullable(),
    priority: z.enum(priorities).nullable(),
    title: z.string().nullable(),
    summary: z.string().nullable(),
    sinceMs: ms.nullable(),
    otherAlarmIds: z.array(z.number().int()),
    explainedAlarmIds: z.array(z.number().int()).describe('Open alarms that are suppressed behind one of these.'),
    silentPointIds: z.array(z.string()),
    unknownRules: z.number().int(),
    heldRules: z.number().int(),
    headlines: z.array(presentShape),
    lastContactMs: ms.nullable(),
  })).describe('Who needs help first, first.'),
});

export const tankShape = z.object({
  tankId: z.string(),
  name: z.string(),
  siteId: z.string(),
  timeZone: z.string(),
  points: z.array(presentShape),
  rules: z.array(z.object({
    ruleId: z.string(),
    title: z.string(),
    verdict: z.enum(['clear', 'breached', 'unknown']),
    why: z.string().nullable().describe('Why it is unknown, or the numbers of the breach.'),
    hold: z.object({ kind: z.enum(['shelved', 'suppressed', 'out-of-service']), by: z.string(), why: z.string(), sinceMs: ms, untilMs: ms.nullable() }).nullable(),
  })),
  openAlarmIds: z.array(z.number().int()),
});

export const seriesShape = z.object({
  pointId: z.string(),
  unit: z.string(),
  fromMs: ms,
  toMs: ms,
  shape: z.enum(['readings', 'buckets']),
  t: z.array(z.number()).describe('Time of each entry in ms, oldest first; for buckets the middle.'),
  mean: z.array(z.number().nullable()).describe('null breaks the line: nothing was received there.'),
  min: z.array(z.number().nullable()).nullable(),
  max: z.array(z.number().nullable()).nullable(),
  suspectMs: z.array(z.number()).describe('Times of readings that cannot be true; left out of the values.'),
});

export const alarmShape = z.object({
  id: z.number().int(),
  ruleId: z.string(),
  ruleKind: z.string(),
  tankId: z.string(),
  siteId: z.string(),
  title: z.string(),
  priority: z.enum(priorities),
  state: z.enum(['normal', 'unacknowledged', 'acknowledged', 'returned', 'shelved', 'suppressed', 'out-of-service']),
  beganMs: ms,
  openedMs: ms,
  acknowledgedMs: ms.nullable(),
  acknowledgedBy: z.string().nullable(),
  returnedMs: ms.nullable(),
  closedMs: ms.nullable(),
  summary: z.string(),
  evidence: z.array(z.object({ label: z.string(), value: z.union([z.number(), z.string()]), unit: z.string().nullable(), atMs: ms.nullable() })),
  pointIds: z.array(z.string()).describe('Points its rule watches.'),
  cause: z.object({ alarmId: z.number().int(), ruleId: z.string(), title: z.string(), quiet: z.boolean().describe('Nobody is called for this alarm while its cause lasts.') }).nullable().describe('The alarm that explains this one.'),
});

export const journalShape = z.object({
  id: z.number().int(),
  atMs: ms,
  kind: z.enum(journalKinds),
  siteId: z.string().nullable(),
  tankId: z.string().nullable(),
  alarmId: z.number().int().nullable(),
  by: z.string(),
  text: z.string(),
  detail: z.record(z.string(), z.unknown()),
});

export const doneShape = z.object({ outcome: z.literal('done'), alarm: alarmShape });
export const importShape = z.object({
  id: z.string().nullable().describe('For asking again; null for a dry run.'),
  state: z.enum(['looked', 'waiting', 'running', 'done', 'cancelled', 'failed']),
  problem: z.string().nullable().describe('What stopped it, and where.'),
  bytes: z.number().int(),
  bytesRead: z.number().int(),
  rowsRead: z.number().int(),
  stored: z.number().int().describe('New readings; in a dry run those that would be offered to the store.'),
  alreadyKnown: z.number().int(),
  refusedTotal: z.number().int(),
  refused: z.array(z.object({ line: z.number().int(), reason: z.string() })).describe('The first of them.'),
  missing: z.number().int().describe('Cells in which the file says that nothing was measured.'),
  span: z.object({ fromMs: ms, toMs: ms }).nullable(),
  perPoint: z.array(z.object({ label: z.string().describe('Column or series in the file.'), pointId: z.string(), readings: z.number().int() })),
  leftOut: z.array(z.object({ label: z.string(), values: z.number().int(), why: z.enum(['said', 'nowhere']).describe('`nowhere`: no point takes it.') })).describe('Columns or series of the file that were not taken, with how many values; those with most.'),
  leftOutTotal: z.number().int().describe('Values left out under all names.'),
  questions: z.array(z.object({
    option: z.string(), line: z.number().int(), text: z.string(), lines: z.number().int(), needed: z.boolean().describe('Without an answer nothing can be imported.'),
    remark: z.string().nullable(), proof: z.object({ value: z.string(), line: z.number().int(), text: z.string() }).nullable(),
  })).describe('Of a dry run: what has to be said about the file, with the cell that raises the question.'),
  columns: z.array(z.object({ label: z.string(), target: z.string().nullable(), unit: z.string().nullable(), why: z.string().nullable(), isProposal: z.boolean().describe('Likely, but not used unless it is said with `map`.'), problem: z.string().nullable() })).describe('Of a dry run.'),
});
export const errorShape = z.object({ message: z.string() });
