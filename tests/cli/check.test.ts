import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { loadFormats } from '../../adapters/load.ts';
import { check } from '../../src/cli/check.ts';
import { loadRuleKinds } from '../../src/rules/load.ts';

const fine = readFileSync(new URL('../config/fine.yaml', import.meta.url), 'utf8');
const service = `fleet: fleet.yaml
web: { publicUrl: "https://tanks.example.com" }
mail: { host: mail.example.com, user: tankbell, passwordEnv: TANKBELL_MAIL, from: tankbell@example.com }
`;
const env = { TANKBELL_MAIL: 'x', TANKBELL_HARBOR_LOBBY: 'y' };
const kinds = await loadRuleKinds();
const formats = await loadFormats();

let folder = '';
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'tankbell-check-'));
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

function file(name: string, text: string): string {
  const path = join(folder, name);
  writeFileSync(path, text);
  return path;
}

async function run(files: readonly string[], environment: Readonly<Record<string, string>> = env): Promise<{ code: number; out: string; err: string }> {
  const out: string[] = [];
  const err: string[] = [];
  const code = await check(files, { print: (text) => out.push(text), complain: (text) => err.push(text), env: environment, kinds, formats });
  return { code, out: out.join('\n').replaceAll(`${folder}/`, ''), err: err.join('\n').replaceAll(`${folder}/`, '') };
}

describe('files in order', () => {
  test('a service file brings its fleet file along, and the counts of what will be watched', async () => {
    file('fleet.yaml', fine);
    const { code, out, err } = await run([file('service.yaml', service)]);
    expect([code, err]).toEqual([0, '']);
    expect(out).toContain('service.yaml: in order: built-in broker on 127.0.0.1:1883; pages at https://tanks.example.com; mail through mail.example.com');
    expect(out).toMatch(/^fleet\.yaml: in order: 1 client, 1 site, 1 tank, 3 points, \d+ rules/m);
  });

  test('rules that cannot judge yet are named with what they miss', async () => {
    const { code, out } = await run([file('fleet.yaml', fine)]);
    expect(code).toBe(0);
    // The return pump of this fleet has neither a power nor a flow point.
    expect(out).toMatch(/cannot judge yet:(\n.*)*\n {4}lobby-reef: Return pump.*: .*\S/);
  });

  test('both files named: each is told once', async () => {
    const fleet = file('fleet.yaml', fine);
    const { out } = await run([fleet, file('service.yaml', service)]);
    expect(out.match(/fleet\.yaml: in order/g)).toHaveLength(1);
  });

  test('a password that is not set is a warning, with its place, and no mistake', async () => {
    file('fleet.yaml', fine);
    const { code, out } = await run([file('service.yaml', service)], {});
    expect(code).toBe(0);
    expect(out).toContain('service.yaml:3:62: warning: the environment variable TANKBELL_MAIL is not set');
    expect(out).toContain('fleet.yaml:13:24: warning: the environment variable TANKBELL_HARBOR_LOBBY is not set');
  });

  test('a certificate that is not there is a warning', async () => {
    file('fleet.yaml', fine);
    const { code, out } = await run([file('service.yaml', `${service}mqtt: { embedded: { tls: { cert: broker.crt, key: broker.key } } }\n`)]);
    expect(code).toBe(0);
    expect(out).toMatch(/warning: the file .*broker\.crt cannot be read here/);
  });
});

describe('files with mistakes', () => {
  test('every mistake of every file, with place and fix, and 1', async () => {
    file('fleet.yaml', fine.replace('water: reef', 'water: salty').replace('ana@example.invalid', 'ana'));
    const { code, err } = await run([file('service.yaml', `${service}webb: {}\n`), file('other.yaml', fine.replace('unit: °C', 'unit: cm'))]);
    expect(code).toBe(1);
    // The service file cannot be trusted to name its fleet file, so that is not looked for.
    expect(err).toBe(`other.yaml:35:23: "cm" is no unit of temperature
    write one of: °C, C, Cel, degC, °F, F, degF, K; "cm" is a unit of kind: level
service.yaml:4:1: "webb" is not a key of this block
    did you mean "web"? Known here: data, fleet, web, mqtt, mail, notice
2 mistakes found.`);
  });

  test('the broker of the service file decides what the fleet file needs', async () => {
    file('fleet.yaml', fine.replace(/ {8}account:\n.*\n.*\n/, ''));
    const embedded = file('embedded.yaml', service);
    const external = file('external.yaml', `${service}mqtt: { external: { url: "mqtts://broker.example.com" } }\n`);
    expect((await run([external])).code).toBe(0);
    const { code, err } = await run([embedded]);
    expect(code).toBe(1);
    expect(err).toContain('fleet.yaml:5:9: site "harbor-lobby" has sources, and no account for the built-in broker');
  });

  test.each([
    ['a file that is not there', 'gone.yaml', 'gone.yaml: there is no such file'],
    ['a folder', '.', 'this is a folder, not a file'],
  ])('%s', async (_, name, said) => {
    const { code, err } = await run([join(folder, name)]);
    expect(code).toBe(1);
    expect(err).toContain(said);
  });

  test('a fleet file that is not there is told by its own name', async () => {
    const { code, err } = await run([file('service.yaml', service)]);
    expect(code).toBe(1);
    expect(err).toContain('fleet.yaml: there is no such file');
  });

  test('a file of neither sort', async () => {
    const { code, err } = await run([file('shopping.yaml', 'salt: 20 kg\n')]);
    expect(code).toBe(1);
    expect(err).toContain('shopping.yaml:1:1: this is neither a service file nor a fleet file');
  });

  test('a fleet file that is no YAML is told as such', async () => {
    const { code, err } = await run([file('fleet.yaml', fine.replace('format: number }', 'format: number'))]);
    expect(code).toBe(1);
    expect(err).toContain('is not closed');
  });
});
