import { expect, test } from 'vitest';
import type { Fleet, Point } from '../../src/domain/fleet.ts';
import { Quality, type Sample } from '../../src/domain/reading.ts';
import { aheadBoundMs, Intake, isRefusal } from '../../src/ingest/intake.ts';

const point = (id: string, kind: Point['kind'], unit: string | null): Point => ({
  id, siteId: 's', tankId: 't', equipmentId: null, name: id, kind, place: 'display', unit, everyMs: 30_000, silentAfterMs: 300_000, keepMs: null, source: null,
});
const fleet: Fleet = { clients: [], sites: [], tanks: [], equipment: [], ruleSettings: [], people: [], onCall: { steps: [], repeatAfterMs: null }, points: [point('t/temp', 'temperature', '°F'), point('t/pump', 'switch', null), point('t/level', 'level', 'cm')] };
const series = new Map([['t/temp', 1], ['t/pump', 2], ['t/level', 3]]);
const intake = (last: ReadonlyMap<number, number> = new Map()): Intake => new Intake(fleet, series, last);
const nowMs = Date.parse('2026-03-03T12:00:00.750Z');
const sample = (pointId: string, value: Sample['value'], atMs: number | null = nowMs - 1000, unit: string | null = null): Sample => ({ pointId, value, atMs, unit });

test('converted at the border', () => {
  expect(intake().take(sample('t/temp', 78.8), nowMs)).toEqual({ series: 1, atMs: nowMs - 1000, value: 26, quality: Quality.good });
  expect(intake().take(sample('t/level', 300, nowMs, 'mm'), nowMs)).toMatchObject({ value: 300 });
  expect(intake().take(sample('t/pump', true), nowMs)).toMatchObject({ value: 1 });
  expect(intake().take(sample('t/pump', 'off'), nowMs)).toMatchObject({ value: 0 });
});

test.each<[Sample, RegExp]>([
  [sample('t/none', 1), /no point "t\/none"/],
  [sample('t/temp', Number.NaN), /leave it out/],
  [sample('t/temp', Number.POSITIVE_INFINITY), /leave it out/],
  // Finite as sent, none in the unit it is kept in.
  [sample('t/level', 1e308), /1e\+308 cm is too large/],
  [sample('t/level', -1e308, nowMs, 'm'), /-1e\+308 m is too large/],
  [sample('t/temp', 'warm'), /no number/],
  [sample('t/temp', true), /no number/],
  [sample('t/temp', 25, nowMs, 'W'), /takes °C.*fits power/],
  [sample('t/pump', 3), /neither on nor off/],
  [sample('t/pump', 'perhaps'), /send on\/off/],
])('refused with what to send instead: %o', (wrong, reason) => {
  const taken = intake().take(wrong, nowMs);
  expect(isRefusal(taken) && taken.reason).toMatch(reason);
});

test('impossible values are kept and flagged', () => {
  expect(intake().take(sample('t/temp', -196.6), nowMs)).toMatchObject({ quality: Quality.outOfRange });
});

test('no time: stamped on arrival in whole seconds; a second one in the same second is not lost', () => {
  const taking = intake();
  expect(taking.take(sample('t/temp', 78, null), nowMs)).toMatchObject({ atMs: nowMs - 750, quality: Quality.stampedOnArrival });
  expect(taking.take(sample('t/temp', 79, null), nowMs)).toMatchObject({ atMs: nowMs });
  expect(taking.take(sample('t/temp', 80, null), nowMs)).toMatchObject({ atMs: nowMs + 1 });
  expect(taking.take(sample('t/pump', 'on', null), nowMs)).toMatchObject({ atMs: nowMs - 750 });
});

test('the last stamp survives a restart', () => {
  expect(intake(new Map([[1, nowMs - 750]])).take(sample('t/temp', 78, null), nowMs)).toMatchObject({ atMs: nowMs });
});

test('a clock that runs ahead, or was never set, is not believed', () => {
  expect(intake().take(sample('t/temp', 78, nowMs + aheadBoundMs), nowMs)).toMatchObject({ atMs: nowMs + aheadBoundMs, quality: 0 });
  expect(intake().take(sample('t/temp', 78, nowMs + aheadBoundMs + 1), nowMs)).toMatchObject({ atMs: nowMs - 750, quality: Quality.clockRefused });
  expect(intake().take(sample('t/temp', 78, 12_345), nowMs)).toMatchObject({ quality: Quality.clockRefused });
  expect(intake().take(sample('t/temp', 78, 0.5), nowMs)).toMatchObject({ quality: Quality.clockRefused });
});
