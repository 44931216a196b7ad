/** Clock changes of Denver, London, Sydney and Lord Howe in 2026: dates and offsets from memory of the rules in force, confirmed by nothing but the runtime's own zone data. */
import { describe, expect, test } from 'vitest';
import { instantOf, isTimeZone, localParts, minuteOfDay, nextAt, showLocal } from '../../src/domain/local-time.ts';

const parts = (text: string): Parameters<typeof instantOf>[1] => {
  const [year = 0, month = 0, day = 0, hour = 0, minute = 0] = text.split(/\D/).map(Number);
  return { year, month, day, hour, minute, second: 0 };
};

describe('wall clock to instant', () => {
  test.each([
    ['America/Denver', '2026-01-15 12:00', '2026-01-15T19:00:00.000Z'],
    ['America/Denver', '2026-07-15 12:00', '2026-07-15T18:00:00.000Z'],
    ['Australia/Sydney', '2026-01-15 12:00', '2026-01-15T01:00:00.000Z'],
    ['Asia/Kathmandu', '2026-01-15 12:00', '2026-01-15T06:15:00.000Z'],
  ])('%s %s', (zone, text, iso) => {
    const instant = instantOf(zone, parts(text));
    expect(instant.kind === 'one' && new Date(instant.atMs).toISOString()).toBe(iso);
  });

  test.each([
    ['America/Denver', '2026-03-08 02:30'],
    ['Europe/London', '2026-03-29 01:30'],
    ['Australia/Sydney', '2026-10-04 02:30'],
    ['Australia/Lord_Howe', '2026-10-04 02:10'],
  ])('%s %s does not exist', (zone, text) => expect(instantOf(zone, parts(text))).toEqual({ kind: 'gap' }));

  test.each([
    ['America/Denver', '2026-11-01 01:30', '2026-11-01T07:30:00.000Z', '2026-11-01T08:30:00.000Z'],
    ['Europe/London', '2026-10-25 01:30', '2026-10-25T00:30:00.000Z', '2026-10-25T01:30:00.000Z'],
    ['Australia/Sydney', '2026-04-05 02:30', '2026-04-04T15:30:00.000Z', '2026-04-04T16:30:00.000Z'],
    ['Australia/Lord_Howe', '2026-04-05 01:45', '2026-04-04T14:45:00.000Z', '2026-04-04T15:15:00.000Z'],
  ])('%s %s is two instants', (zone, text, first, second) =>
    expect(instantOf(zone, parts(text))).toEqual({ kind: 'overlap', firstMs: Date.parse(first), secondMs: Date.parse(second) }));
});

test('round trip over a year at odd hours, in four zones', () => {
  for (const zone of ['America/Denver', 'Europe/London', 'Australia/Lord_Howe', 'UTC']) {
    for (let atMs = Date.parse('2026-01-01T00:07:00Z'); atMs < Date.parse('2027-01-01T00:00:00Z'); atMs += 7_919_000) {
      const instant = instantOf(zone, localParts(zone, atMs));
      const candidates = instant.kind === 'one' ? [instant.atMs] : instant.kind === 'overlap' ? [instant.firstMs, instant.secondMs] : [];
      expect(candidates).toContain(atMs);
    }
  }
});

test('the next 07:00, and the next 02:30 on the night it does not exist', () => {
  expect(new Date(nextAt('America/Denver', Date.parse('2026-03-08T13:00:00Z'), 420)).toISOString()).toBe('2026-03-08T13:00:00.000Z');
  expect(new Date(nextAt('America/Denver', Date.parse('2026-03-08T13:00:01Z'), 420)).toISOString()).toBe('2026-03-09T13:00:00.000Z');
  expect(new Date(nextAt('America/Denver', Date.parse('2026-03-08T08:00:00Z'), 150)).toISOString()).toBe('2026-03-08T09:00:00.000Z');
  expect(minuteOfDay('Asia/Kathmandu', Date.parse('2026-01-01T00:00:00Z'))).toBe(345);
});

test('zones by name only, and times as people read them', () => {
  expect(isTimeZone('America/Denver')).toBe(true);
  expect(isTimeZone('America/Denvr')).toBe(false);
  expect(isTimeZone('+05:00')).toBe(false);
  expect(showLocal('America/Denver', Date.parse('2026-03-14T08:10:00Z'))).toBe('Sat 14 Mar 2026, 02:10 MDT');
});
