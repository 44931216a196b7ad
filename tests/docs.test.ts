/** What the documents name must exist: paths, commands, rules. */
import { existsSync, readdirSync, readFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { expect, test } from 'vitest';
import { commandNames } from '../src/cli/arguments.ts';

const root = resolve(import.meta.dirname, '..');
const read = (name: string): string => readFileSync(join(root, name), 'utf8');
const documents = ['README.md', 'DEVELOPERS.md', 'CHANGELOG.md'];

test.each(documents)('every path that %s names is there', (name) => {
  const named = [...read(name).matchAll(/`((?:src|adapters|config|tests|simulator|\.ci)\/[^`\s<>*]*)`|\]\(((?!https?:)[^)]+)\)/g)].map((match) => match[1] ?? match[2] ?? '');
  expect(named.filter((path) => !existsSync(join(root, path)))).toEqual([]);
  if (name === 'DEVELOPERS.md') expect(named.length).toBeGreaterThan(25);
});

test('every npm script and command that the documents name is there', () => {
  const { scripts }: { scripts: Record<string, string> } = JSON.parse(read('package.json'));
  const text = documents.map(read).join('\n');
  const named = [...text.matchAll(/npm (?:run )?([a-z]+)(?: -- ([a-z-]+))?/g)].filter(([, script]) => script !== 'package' && script !== 'install');
  expect(named.length).toBeGreaterThan(8);
  expect(named.map(([, script = '']) => script).filter((script) => !Object.hasOwn(scripts, script))).toEqual([]);
  const commands = named.filter(([, script]) => script === 'tankbell').map(([, , command = '']) => command);
  expect(commands.length).toBeGreaterThan(3);
  expect(commands.filter((command) => !commandNames.includes(command))).toEqual([]);
});

test('the README lists every rule kind, and only those', () => {
  const kinds = readdirSync(join(root, 'src/rules/kinds')).map((file) => file.replace(/\.ts$/, ''));
  const table = read('README.md').split('| rule | watches for |')[1]?.split('\n\n')[0] ?? '';
  const listed = [...table.matchAll(/`([a-z-]+)`/g)].map((match) => match[1]);
  expect(listed.sort()).toEqual(kinds.sort());
});

test('the opening paragraph of the README says what the job is', () => {
  expect(read('README.md').split('\n\n')[1]).toMatch(/service technician/);
});
