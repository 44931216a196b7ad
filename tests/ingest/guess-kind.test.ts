/** What unknown values are guessed to be. The cases are topics and keys as devices write them (common practice), invented here. */
import { expect, it } from 'vitest';
import { guessKind } from '../../src/ingest/guess-kind.ts';

const guess = (topic: string, values: readonly (number | boolean | string)[], more: { part?: string; unit?: string } = {}) =>
  guessKind({ topic, part: more.part ?? null, unit: more.unit ?? null, values });

it.each([
  ['harbor-lobby/reef/temperature', [25.3, 25.4], {}, 'temperature', '°C'],
  ['harbor-lobby/reef/temperature', [77.9, 78.3], {}, 'temperature', '°F'],
  ['harbor-lobby/room', [71.2], { part: '/temp_f' }, 'temperature', '°F'],
  ['harbor-lobby/room', [21.2], { part: '/sensor/tempC' }, 'temperature', '°C'],
  ['harbor-lobby/strip-a', [295.2, 0], { part: '/outlets/0/watts' }, 'power', null],
  ['harbor-lobby/strip-a/heater-1/power', [295.2], {}, 'power', null],
  ['harbor-lobby/strip-a', [1204.31], { part: '/energy_wh' }, 'energy', 'Wh'],
  ['harbor-lobby/strip-a', [1204.31], { part: '/total_kwh' }, 'energy', 'kWh'],
  ['harbor-lobby/sump/ph', [8.1, 8.2], {}, 'acidity', null],
  ['harbor-lobby/sump/ec', [53_000, 53_100], {}, 'conductivity', 'µS/cm'],
  ['harbor-lobby/sump/ec', [53.0], {}, 'conductivity', 'mS/cm'],
  ['harbor-lobby/reservoir/level_cm', [38], {}, 'level', 'cm'],
  ['harbor-lobby/return/flow_gph', [900], {}, 'flow', 'gal/h'],
  ['harbor-lobby/pump/relay', ['on', 'off'], {}, 'switch', null],
  ['harbor-lobby/x', ['on'], {}, 'switch', null],
  ['harbor-lobby/x', [25.3], { unit: '°C' }, 'temperature', '°C'],
  ['harbor-lobby/room/humidity', [44], { unit: '%' }, 'humidity', '%'],
  ['harbor-lobby/x', [44], { unit: '%' }, 'fill', '%'],
  ['harbor-lobby/reservoir/fill', [0.44], {}, 'fill', '/'],
] as const)('%s %j %j → %s %s', (topic, values, more, kind, unit) => {
  const made = guess(topic, values, more);
  expect(made).toMatchObject({ kind, unit });
  expect(made?.reason).not.toBe('');
});

it('says why', () => {
  expect(guess('harbor-lobby/reef/temperature', [77.9, 78.3])?.reason).toBe('the topic says "temperature", and 77.9 to 78.3 is usual in °F');
  expect(guess('harbor-lobby/room', [71.2], { part: '/temp_f' })?.reason).toBe('the key says "temp f"');
  expect(guess('harbor-lobby/x', [44], { unit: '%' })?.reason).toContain('it could also be relative humidity');
});

it('guesses nothing where nothing speaks, or where the values cannot be true', () => {
  expect(guess('harbor-lobby/x1', [25.3])).toBeNull();
  expect(guess('harbor-lobby/sump/ph', [512])).toBeNull();
  expect(guess('harbor-lobby/pump/relay', [295])).toBeNull();
  expect(guess('harbor-lobby/temperature', ['warm'])).toBeNull();
  expect(guess('harbor-lobby/temperature', [])).toMatchObject({ kind: 'temperature', unit: null });
});
