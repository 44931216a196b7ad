import { expect, test } from 'vitest';
import { showAge, showFullTime, showSince, showTime } from '../../src/web/times.ts';

const now = Date.UTC(2026, 10, 25, 9, 30);

test.each([
  // Offsets: from memory. Denver is 7 h behind UTC in winter, 6 h in summer; Kathmandu 5 h 45 min ahead.
  [Date.UTC(2026, 10, 25, 9, 2), 'America/Denver', '02:02 MST'],
  [Date.UTC(2026, 10, 25, 6, 59), 'America/Denver', '24 Nov, 23:59 MST'],
  [Date.UTC(2026, 6, 1, 18, 0), 'America/Denver', '1 Jul, 12:00 MDT'],
  [Date.UTC(2025, 10, 25, 9, 2), 'America/Denver', '25 Nov 2025, 02:02 MST'],
  [Date.UTC(2026, 10, 25, 0, 0), 'UTC', '00:00 UTC'],
  [Date.UTC(2026, 10, 25, 9, 0), 'Asia/Kathmandu', '14:45 GMT+5:45'],
])('%i in %s reads %s', (atMs, zone, text) => {
  expect(showTime(atMs, zone, now)).toBe(text);
});

test('a record carries everything', () => {
  expect(showFullTime(Date.UTC(2026, 10, 1, 7, 30, 5), 'America/Denver')).toBe('1 Nov 2026, 01:30:05 MDT');
  expect(showFullTime(Date.UTC(2026, 10, 1, 8, 30, 5), 'America/Denver')).toBe('1 Nov 2026, 01:30:05 MST');
});

test.each([[0, 'just now'], [-60_000, 'just now'], [40_000, '40 s ago'], [90_000, '1 min 30 s ago'], [185_000, '3 min ago'], [7_500_000, '2 h 5 min ago'], [200_000_000, '2 d 7 h ago']])('an age of %i ms is %s', (ageMs, text) => {
  expect(showAge(now - ageMs, now)).toBe(text);
});

test('a beginning in the future lasts nothing yet', () => {
  expect(showSince(now + 5000, now)).toBe('0 s');
});
