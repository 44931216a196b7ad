/** Factors: NIST SP 811 appendix B (inch, US gallon, °F); unit codes of the SenML registry, RFC 8428 §12.1. Both from memory. */
import { expect, test } from 'vitest';
import { type Kind, kindNames, kinds } from '../../src/domain/kinds.ts';
import { parseDuration, showDuration } from '../../src/domain/duration.ts';
import { converter, kindsFor, show, showLitres, switchValue, unitsOf } from '../../src/domain/units.ts';

test.each<[Kind, string, number, number]>([
  ['temperature', '°F', 32, 0], ['temperature', '°F', 212, 100], ['temperature', '°F', 78.8, 26], ['temperature', '°F', -40, -40],
  ['temperature', 'K', 298.15, 25], ['temperature', 'Cel', 25.5, 25.5],
  ['level', 'in', 1, 25.4], ['level', 'cm', 12.5, 125], ['level', 'm', 0.4, 400],
  ['volume', 'gal', 1, 3.785411784], ['volume', 'gal', 240, 908.49882816], ['volume', 'mL', 250, 0.25],
  ['conductivity', 'µS/cm', 53_000, 53], ['conductivity', 'uS/cm', 1413, 1.413], ['conductivity', 'S/m', 4.2914, 42.914], ['conductivity', 'μS/cm', 12_880, 12.88],
  ['power', 'kW', 0.3, 300], ['current', 'mA', 350, 0.35], ['energy', 'Wh', 1500, 1.5], ['energy', 'J', 3.6e6, 1],
  ['fill', '/', 0.25, 25], ['flow', 'gal/min', 1, 227.12470704], ['humidity', '%', 55, 55],
])('%s: %s', (kind, unit, sent, canonical) => expect(converter(kind, unit)?.(sent)).toBe(canonical));

test('a unit that does not fit is refused, never taken for canonical', () => {
  expect(converter('temperature', 'W')).toBeNull();
  expect(converter('level', 'toString')).toBeNull();
  expect(kindsFor('%')).toEqual(['fill', 'humidity']);
});

test('every kind takes its own canonical unit unchanged', () => {
  for (const kind of kindNames) {
    expect(unitsOf(kind)).toContain(kinds[kind].unit);
    expect(converter(kind, kinds[kind].unit)?.(1)).toBe(1);
    expect(converter(kind, null)?.(-0)).toBe(-0);
  }
});

test('on and off', () => {
  expect(['on', 'OFF', ' true ', '0', 'maybe', ''].map(switchValue)).toEqual([1, 0, 1, 0, null, null]);
});

test('unknown is shown as unknown', () => {
  expect(show('temperature', null)).toBe('unknown');
  expect(show('power', Number.NaN)).toBe('unknown');
  expect(show('temperature', 25.456)).toBe('25.46 °C');
  expect(show('switch', 1)).toBe('on');
});

test('durations', () => {
  expect(['30s', '5m', '1h30m', '7d', '250ms', '2 h', '5', '-1s', '1y', ''].map(parseDuration)).toEqual([30_000, 300_000, 5_400_000, 604_800_000, 250, null, null, null, null, null]);
  expect([0, 59_999, 3_600_000, 7_500_000, 90_000_000].map(showDuration)).toEqual(['0 s', '59 s', '1 h', '2 h 5 min', '1 d 1 h']);
});

test('a nominal volume is shown as people say it', () => {
  // 300 US gal, 1 US gal = 3.785411784 L exactly.
  expect(showLitres(300 * 3.785411784)).toBe('1135.6 L');
  expect(showLitres(500)).toBe('500 L');
});
