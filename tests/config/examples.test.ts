/** The example files in `config/` are the documentation: they must be right, and show every key there is. */
import { readdirSync, readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { parse } from 'yaml';
import { knownKeys } from '../../src/config/findings.ts';
import { readFleet } from '../../src/config/fleet-file.ts';
import { fleetShapes } from '../../src/config/fleet-shapes.ts';
import { readService } from '../../src/config/service-file.ts';
import { serviceShapes } from '../../src/config/service-shapes.ts';
import { equipmentKinds, places } from '../../src/domain/fleet.ts';
import { kindNames } from '../../src/domain/kinds.ts';
import { readersFor } from './readers.ts';

const folder = new URL('../../config/', import.meta.url);
const files = readdirSync(folder).filter((name) => name.endsWith('.yaml')).sort();
const textOf = (name: string): string => readFileSync(new URL(name, folder), 'utf8');
/** Lines that begin with "#" and a key, without a space between, are keys switched off. */
const switchedOn = (text: string): string => text.replace(/^( *)#(?=\S)/gm, '$1');
const readers = await readersFor('embedded');

function mistakesIn(name: string, text: string): readonly unknown[] {
  const reading = name.startsWith('fleet') ? readFleet(text, name, readers) : readService(text, name, {});
  return 'mistakes' in reading ? reading.mistakes : [];
}

describe('example files', () => {
  test('are where the messages say', () => {
    expect(files).toEqual(['fleet.example.yaml', 'service.example.yaml', 'service.external-broker.example.yaml']);
  });
  test.each(files)('%s is in order as it is', (name) => expect(mistakesIn(name, textOf(name))).toEqual([]));
  test.each(files)('%s is in order with everything switched on', (name) => expect(mistakesIn(name, switchedOn(textOf(name)))).toEqual([]));
  test.each(files)('%s gives no warning beside the passwords, which are not set here', (name) => {
    const reading = name.startsWith('service') ? readService(textOf(name), name, {}) : { warnings: [] };
    expect('warnings' in reading ? reading.warnings : reading).toEqual([]);
  });
});

/** Every block under a list or map key, wherever it stands. */
function blocksUnder(value: unknown, key: string, under: string | null = null): readonly Readonly<Record<string, unknown>>[] {
  if (Array.isArray(value)) return value.flatMap((entry) => blocksUnder(entry, key, under));
  if (typeof value !== 'object' || value === null) return [];
  const own = under === key ? [value as Readonly<Record<string, unknown>>] : [];
  return [...own, ...Object.entries(value).flatMap(([name, inner]) => blocksUnder(inner, key, name))];
}

const keysOf = (blocks: readonly Readonly<Record<string, unknown>>[]): readonly string[] => [...new Set(blocks.flatMap((block) => Object.keys(block)))].sort();
const fleet: unknown = parse(switchedOn(textOf('fleet.example.yaml')));
const services: unknown = ['service.example.yaml', 'service.external-broker.example.yaml'].map((name): unknown => parse(switchedOn(textOf(name))));

describe('every key is shown', () => {
  const fleetPlaces: Readonly<Record<Exclude<keyof typeof fleetShapes, 'source' | 'rule'>, string | null>> = {
    fleet: null, client: 'clients', site: 'sites', contact: 'contacts', account: 'account', tank: 'tanks', equipment: 'equipment', point: 'points', person: 'people', onCall: 'onCall', step: 'steps',
  };
  const servicePlaces: Readonly<Record<keyof typeof serviceShapes, string | null>> = {
    service: null, web: 'web', mqtt: 'mqtt', embedded: 'embedded', tls: 'tls', external: 'external', mail: 'mail',
  };
  test.each(Object.entries(fleetPlaces))('fleet file: %s', (shape, place) => {
    const blocks = place === null ? [fleet as Readonly<Record<string, unknown>>] : blocksUnder(fleet, place);
    expect(keysOf(blocks)).toEqual([...(knownKeys(fleetShapes[shape as keyof typeof fleetPlaces]) ?? [])].sort());
  });
  test.each(Object.entries(servicePlaces))('service file: %s', (shape, place) => {
    const blocks = place === null ? (services as readonly Readonly<Record<string, unknown>>[]) : blocksUnder(services, place);
    expect(keysOf(blocks)).toEqual([...(knownKeys(serviceShapes[shape as keyof typeof servicePlaces]) ?? [])].sort());
  });

  test.each([...readers.formats.values()].map((format) => [format.format, format] as const))('options of payload format %s', (name, format) => {
    const sources = blocksUnder(fleet, 'source').filter((source) => source['format'] === name);
    expect(keysOf(sources)).toEqual(['topic', 'format', ...(knownKeys(format.options) ?? [])].sort());
  });

  test.each([...readers.kinds.values()].map((kind) => [kind.kind, kind] as const))('settings of rule kind %s', (name, kind) => {
    const rules = blocksUnder(fleet, 'rules').filter((rule) => rule['kind'] === name);
    expect(rules, `add an entry for ${name} to config/fleet.example.yaml, switched off by "#"`).not.toEqual([]);
    expect(keysOf(rules)).toEqual(expect.arrayContaining([...(knownKeys(kind.settings) ?? [])]));
  });

  test('keys of every rule', () => {
    expect(keysOf(blocksUnder(fleet, 'rules'))).toEqual(expect.arrayContaining(Object.keys(fleetShapes.rule.shape)));
  });

  test('words to choose from are all named', () => {
    const text = textOf('fleet.example.yaml');
    for (const words of [kindNames, equipmentKinds, places]) {
      expect(text).toContain(`${words.slice(0, -1).join(', ')} or ${words.at(-1) ?? ''}`);
    }
  });
});

test('everybody and everything named is invented: numbers 555-01xx, addresses that lead nowhere (RFC 2606, RFC 6761)', () => {
  for (const name of readdirSync(folder)) {
    const text = textOf(name);
    expect(text, name).toContain('invented');
    for (const [phone] of text.matchAll(/\+\d[\d ]{6,}/g)) expect(phone, name).toMatch(/^\+1 555 01\d\d$/);
    for (const [, domain] of text.matchAll(/@([a-z0-9.-]+)/gi)) expect(domain, name).toMatch(/^example\.(invalid|com)$/);
    for (const [, host] of text.matchAll(/\/\/([a-z0-9.-]+)/gi)) expect(host, name).toMatch(/(^|\.)example\.com$/);
  }
});
