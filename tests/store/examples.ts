/** Invented rows for the store's tests; every field different from the next, so that a swapped column shows. */
import type { Alarm, AlarmStatus } from '../../src/domain/alarm.ts';
import type { JournalEntry } from '../../src/domain/journal.ts';
import type { Page } from '../../src/domain/page.ts';
import type { Reading } from '../../src/domain/reading.ts';
import type { Batch, HistoryWriter, RefusalCount, SeriesColumns } from '../../src/store/contract.ts';

/** 2026-03-01T00:00Z. */
export const T0 = 1_772_323_200_000;

export const batch = (parts: Partial<Batch>): Batch => ({
  readings: [], ruleStates: [], statuses: [], alarms: [], journal: [], pages: [], refusals: [], aliveMs: T0, ...parts,
});

export const reading = (series: number, atMs: number, value: number, quality = 0): Reading => ({ series, atMs, value, quality });

export const alarm = (parts: Partial<Alarm>): Alarm => ({
  id: 1,
  ruleId: 'lobby/limit/display-temperature',
  ruleKind: 'limit',
  tankId: 'lobby',
  siteId: 'harbour-office',
  title: 'Display temperature high',
  policy: { priority: 'urgent', onDelayMs: 120_000, offDelayMs: 60_000 },
  state: 'unacknowledged',
  beganMs: T0 + 1,
  openedMs: T0 + 2,
  acknowledgedMs: null,
  acknowledgedBy: null,
  returnedMs: null,
  closedMs: null,
  summary: '29.1 °C for 6 min, limit 28.0 °C',
  evidence: [{ label: 'display', value: 29.1, kind: 'temperature', atMs: T0 }, { label: 'why', value: 'above the limit' }],
  escalation: { nextStep: 1, dueMs: T0 + 300_000, paged: ['ana'] },
  cause: null,
  ...parts,
});

export const status = (parts: Partial<AlarmStatus>): AlarmStatus => ({
  ruleId: 'lobby/limit/display-temperature',
  condition: 'breached',
  verdict: 'unknown',
  unknownWhy: 'no reading for 10 min',
  lastKnown: 'breached',
  verdictSinceMs: T0 + 3,
  breach: { summary: '29.1 °C, limit 28.0 °C', evidence: [{ label: 'display', value: 29.1, kind: 'temperature' }] },
  dueMs: T0 + 4,
  heldBackMs: T0 + 3,
  base: 'acknowledged',
  hold: { kind: 'shelved', by: 'ana', why: 'water change', sinceMs: T0 + 5, untilMs: T0 + 6 },
  alarmId: null,
  ...parts,
});

export const entry = (parts: Partial<JournalEntry>): JournalEntry => ({
  atMs: T0, kind: 'note', siteId: 'harbour-office', tankId: 'lobby', alarmId: null, by: 'ana', text: 'Changed 40 L', detail: { litres: 40 }, ...parts,
});

export const page = (parts: Partial<Page>): Page => ({ id: 'p1', alarmId: null, personId: 'ana', reason: 'test', createdMs: T0, ...parts });

export const refusal = (parts: Partial<RefusalCount>): RefusalCount => ({
  source: 'harbour-office/lobby/temperature', pointId: 'lobby/display-temperature', reason: 'not a number: send 25.4', excerpt: 'abc', count: 1, lastMs: T0, ...parts,
});

/** History given reading by reading. */
export function addReadings(store: Pick<HistoryWriter, 'addHistory'>, readings: readonly Reading[]): Promise<number> {
  const all = [...new Set(readings.map(({ series }) => series))].map((series) => readings.filter((one) => one.series === series));
  return store.addHistory(all.map((own): SeriesColumns => ({
    series: own[0]?.series ?? Number.NaN, atMs: Float64Array.from(own, ({ atMs }) => atMs), value: Float64Array.from(own, ({ value }) => value), quality: Float64Array.from(own, ({ quality }) => quality),
  })));
}
