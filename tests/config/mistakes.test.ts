/**
 * One file for each mistake somebody can make, `mistakes/<what>.yaml`, and beside it what is said about it, `<what>.expected`:
 * `line:column message`, then the fix. A line that ends in "…" is compared up to there (lists that grow with new kinds).
 * Files that begin with "service-" are service files, all others fleet files.
 */
import { readdirSync, readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { readFleet } from '../../src/config/fleet-file.ts';
import type { Mistake } from '../../src/config/mistake.ts';
import { readService } from '../../src/config/service-file.ts';
import { readersFor } from './readers.ts';

const folder = new URL('./mistakes/', import.meta.url);
const read = (name: string): string => readFileSync(new URL(name, folder), 'utf8');
const cases = readdirSync(folder).filter((name) => name.endsWith('.yaml')).map((name) => name.replace('.yaml', ''));
const readers = await readersFor('embedded');

function mistakesIn(name: string, text: string): readonly Mistake[] {
  const reading = name.startsWith('service-') ? readService(text, name, {}) : readFleet(text, name, readers);
  return 'mistakes' in reading ? reading.mistakes : [];
}

describe('each mistake is told with its place and its fix', () => {
  test.each(cases)('%s', (name) => {
    const said = mistakesIn(name, read(`${name}.yaml`)).flatMap(({ line, column, message, fix }) => [`${line}:${column} ${message}`, `    ${fix}`]);
    const expected = read(`${name}.expected`).trimEnd().split('\n');
    const cut = said.map((line, index) => {
      const wanted = expected[index] ?? '';
      return wanted.endsWith('…') && line.startsWith(wanted.slice(0, -1)) ? wanted : line;
    });
    expect(cut).toEqual(expected);
  });

  test('each case makes exactly one mistake, so that it shows what that one looks like', () => {
    expect(cases.length).toBeGreaterThanOrEqual(35);
    expect(cases.filter((name) => read(`${name}.expected`).trimEnd().split('\n').length !== 2)).toEqual([]);
  });
});

test('one mistake hides no other: all are told, in the order of the file', () => {
  const text = read('../fine.yaml')
    .replace('timeZone: America/Denver\n        contacts', 'timeZone: Nowhere/Atall\n        contacts')
    .replace('water: reef', 'water: salty')
    .replace('nameplate: 500 W', 'nameplate: 500')
    .replace('unit: °C', 'unit: psi')
    .replace('/outlets/0/watts', 'outlets')
    .replace('high: 27.5', 'height: 27.5')
    .replace('ana@example.invalid', 'ana')
    .replace('person: ben', 'person: bob');
  const said = mistakesIn('fleet.yaml', text);
  expect(said.map(({ path }) => path)).toEqual([
    'clients[0].sites[0].timeZone',
    'clients[0].sites[0].tanks[0].water',
    'clients[0].sites[0].tanks[0].equipment[0].nameplate',
    'clients[0].sites[0].tanks[0].points[0].unit',
    'clients[0].sites[0].tanks[0].points[1].source.value',
    'clients[0].sites[0].tanks[0].rules[0].height',
    'people[0].email',
    'onCall.steps[1].person',
  ]);
});

test('a mistake in a block makes no others out of thin air', () => {
  // The heater cannot be read, yet the point that names it, and a rule about it, are in order.
  const text = read('../fine.yaml').replace('nameplate: 500 W', 'nameplate: much').replace('subject: display-temperature', 'subject: heater-1-power');
  expect(mistakesIn('fleet.yaml', text).map(({ path }) => path)).toEqual(['clients[0].sites[0].tanks[0].equipment[0].nameplate']);
});

test('the password of somebody who writes it into the file is not repeated', () => {
  for (const name of ['password-as-variable-name', 'password-in-the-file', 'service-broker-password-in-url', 'service-mail-password-in-file']) {
    expect(read(`${name}.expected`)).not.toMatch(/let me in|hunter|secret@|: secret/);
  }
  const said = mistakesIn('fleet.yaml', read('../fine.yaml').replace('passwordEnv: TANKBELL_HARBOR_LOBBY', 'passwordEnv: 271828'));
  expect(said).toHaveLength(1);
  expect(JSON.stringify(said)).not.toContain('271828');
});

describe('any value in any place is a mistake with a place, never a crash', () => {
  const lines = read('../fine.yaml').split('\n');
  const strange = ['', 'null', '12', '-1.5', 'true', '[]', '{}', '[[1], {a: b}]', '"\\u0000"', '{ __proto__: 1, constructor: 2 }', '!!binary aGk=', '2024-01-01'];
  const places = lines.map((line, index) => ({ line, index })).filter(({ line }) => line.includes(': ') || line.trimEnd().endsWith(':'));
  test.each(strange)('%s', (value) => {
    for (const { line, index } of places) {
      const cut = line.indexOf(':') + 1;
      const nested = line.trimEnd().endsWith(':');
      const rest = nested ? lines.slice(index + 1).findIndex((next) => next !== '' && indent(next) <= indent(line)) : 0;
      const text = [...lines.slice(0, index), `${line.slice(0, cut)} ${value}`, ...lines.slice(index + 1 + (rest < 0 ? lines.length : rest))].join('\n');
      for (const { line: at, column, message, fix } of mistakesIn('fleet.yaml', text)) {
        expect(at).toBeGreaterThanOrEqual(1);
        expect(at).toBeLessThanOrEqual(lines.length);
        expect(column).toBeGreaterThanOrEqual(1);
        expect(message).not.toMatch(/undefined|\[object|NaN|Invalid input/);
        expect(fix.trim()).not.toBe('');
      }
    }
  });
});

const indent = (line: string): number => line.length - line.trimStart().length;
