/** A point added to a fleet file leaves the rest of it as it was, to the byte. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, it } from 'vitest';
import { addPoint, pointLine, type WrittenPoint } from '../../src/config/add-point.ts';

const example = readFileSync(join(import.meta.dirname, '../../config/fleet.example.yaml'), 'utf8');
const point: WrittenPoint = { id: 'sump-temperature', name: 'Sump: left', kind: 'temperature', unit: '°F', every: '30s', source: { topic: 'harbor-lobby/sump', format: 'json', value: '/temp_f' } };
const line = '{ id: sump-temperature, name: "Sump: left", kind: temperature, unit: °F, every: 30s, source: { topic: harbor-lobby/sump, format: json, value: /temp_f } }';

const added = (text: string, owner: string): string => {
  const result = addPoint(text, owner, point);
  if ('why' in result) throw new Error(result.why);
  return result.text;
};

it('writes one line', () => {
  expect(pointLine(point)).toBe(line);
});

it('adds it behind the points of the tank, and changes no other byte', () => {
  const text = added(example, 'lobby-reef');
  expect(text.replace(`              - ${line}\n`, '')).toBe(example);
  expect(text.indexOf(line)).toBeGreaterThan(text.indexOf('- { id: reservoir-level'));
  expect(text.indexOf(line)).toBeLessThan(text.indexOf('# Every kind of rule watches by itself'));
});

it('adds a point of the site', () => {
  const text = added(example, 'harbor-lobby');
  expect(text.replace(`          - ${line}\n`, '')).toBe(example);
  expect(text.indexOf(line)).toBeLessThan(text.indexOf('tanks:'));
});

const head = 'clients:\n  - id: a\n    sites:\n      - id: s # the site\n        tanks:\n';

it.each([
  ['no points yet', `${head}          - id: t\n            water: reef   # salt\n            # last words\n`, `${head}          - id: t\n            water: reef   # salt\n            points:\n              - ${line}\n            # last words\n`],
  ['an empty key', `${head}          - id: t\n            points:\n            water: reef\n`, `${head}          - id: t\n            points:\n              - ${line}\n            water: reef\n`],
  ['an empty list', `${head}          - id: t\n            points: []\n`, `${head}          - id: t\n            points: [ ${line} ]\n`],
  ['a list on one line', `${head}          - id: t\n            points: [{ id: x }, { id: y }] # two\n`, `${head}          - id: t\n            points: [{ id: x }, { id: y }, ${line} ] # two\n`],
  ['a list not indented', `${head}          - id: t\n            points:\n            - { id: x }\n            - id: y\n              kind: power # W\n`, `${head}          - id: t\n            points:\n            - { id: x }\n            - id: y\n              kind: power # W\n            - ${line}\n`],
  ['no line break at the end', `${head}          - id: t\n            points:\n              - id: x`, `${head}          - id: t\n            points:\n              - id: x\n              - ${line}\n`],
  ['a block text at the end', `${head}          - id: t\n            points:\n              - id: x\n                name: |\n                  two\n                  lines\n`, `${head}          - id: t\n            points:\n              - id: x\n                name: |\n                  two\n                  lines\n              - ${line}\n`],
  ['line ends of another system', `${head}          - id: t\n            points:\n              - id: x\n`.replaceAll('\n', '\r\n'), `${head}          - id: t\n            points:\n              - id: x\n              - ${line}\n`.replaceAll('\n', '\r\n')],
])('%s', (_what, before, after) => {
  expect(added(before, 't')).toBe(after);
});

it.each([
  ['a tank that is not there', `${head}          - id: other\n`, 'no tank or site "t"'],
  ['points shared by an alias', `shared: &shared [{ id: x }]\n${head}          - id: t\n            points: *shared\n`, 'by hand'],
  ['a tank on one line', `${head}          - { id: t, water: reef }\n`, 'by hand'],
  ['a text with mistakes', 'clients: [', 'mistakes'],
])('refuses %s, in words', (_what, text, why) => {
  expect(addPoint(text, 't', point)).toEqual({ why: expect.stringContaining(why) });
});
