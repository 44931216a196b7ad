/** Layers, cycles and package owners of ../DEVELOPERS.md, held. */
import { readdirSync, readFileSync } from 'node:fs';
import { dirname, join, relative, resolve } from 'node:path';
import { expect, test } from 'vitest';

const root = resolve(import.meta.dirname, '..');

/** Longest prefix wins. A file may import its own folder and what lies strictly lower, save where `meets` says otherwise. */
const layers: readonly (readonly [string, number])[] = [
  ['src/domain', 0], ['src/clock.ts', 0], ['src/log.ts', 0],
  ['src/ingest', 1], ['src/rules', 1], ['src/alarms', 1], ['src/oncall', 1], ['src/physics', 1],
  // The contracts of the I/O rooms are types: whoever decides may know them, whoever acts implements them.
  ['adapters/contract.ts', 1], ['src/store/contract.ts', 1],
  ['adapters', 2], ['src/store', 2], ['src/notify', 2],
  ['src/engine', 3],
  ['src/web', 4], ['src/review', 4], ['src/config', 4], ['src/housekeeping.ts', 4], ['src/selfwatch.ts', 4],
  ['src/app.ts', 5],
  ['src/main.ts', 6], ['src/cli', 6], ['src/tankbell.mjs', 6], ['simulator', 6],
];

/** Imports within a layer that the design names. */
const meets = new Set(['src/rules > src/physics', 'src/main.ts > src/cli', 'src/tankbell.mjs > src/main.ts']);

const owners: readonly (readonly [RegExp, readonly string[]])[] = [
  [/^better-sqlite3$/, ['src/store']],
  [/^(mqtt|mqtt-packet|aedes|papaparse|protobufjs)$/, ['adapters']],
  [/^nodemailer$/, ['src/notify']],
  [/^(fastify|@fastify\/.+|preact.*|uplot|esbuild)$/, ['src/web']],
  [/^yaml$/, ['src/config']],
  [/^node-cron$/, ['src/housekeeping.ts']],
  [/^pino$/, ['src/log.ts']],
  [/^smtp-server$/, ['simulator']],
  [/^tsx$/, ['src/tankbell.mjs', 'src/store/writer-thread.mjs']],
  // The one package that is a vocabulary, not an I/O library: used at every border.
  [/^zod$/, ['src/config', 'src/web', 'src/rules', 'adapters']],
];

function filesUnder(folder: string): string[] {
  return readdirSync(join(root, folder), { withFileTypes: true }).flatMap((entry) => {
    const path = `${folder}/${entry.name}`;
    return entry.isDirectory() ? filesUnder(path) : /\.(ts|tsx|mjs)$/.test(entry.name) ? [path] : [];
  });
}

const files = ['src', 'adapters', 'simulator'].flatMap(filesUnder);
const place = (file: string): readonly [string, number] | undefined =>
  layers.filter(([prefix]) => file === prefix || file.startsWith(`${prefix}/`)).sort((a, b) => b[0].length - a[0].length)[0];

interface Import {
  readonly from: string;
  readonly to: string;
  readonly typeOnly: boolean;
}

const imports: readonly Import[] = files.flatMap((from) => {
  const text = readFileSync(join(root, from), 'utf8').replaceAll(/\/\*[\s\S]*?\*\/|(^|\s)\/\/.*$/gm, '$1');
  const found = [...text.matchAll(/(?:^|\n)\s*(?:import|export)\s+(type\s+)?(?:[^'";]*?\sfrom\s+)?'([^']+)'|import\(\s*'([^']+)'\s*\)/g)];
  return found.map((match) => ({ from, to: match[2] ?? match[3] ?? '', typeOnly: match[1] !== undefined }));
});

const inside = imports.filter(({ to }) => to.startsWith('.')).map((one) => ({ ...one, to: relative(root, resolve(root, dirname(one.from), one.to)) }));

test('every file has a layer', () => {
  expect(files.filter((file) => place(file) === undefined)).toEqual([]);
  expect(files.length).toBeGreaterThan(60);
});

test('imports go down', () => {
  const wrong = inside.filter(({ from, to }) => {
    const [home, layer] = place(from) ?? ['', -1];
    const [target, lower] = place(to) ?? ['', 99];
    return home !== target && lower >= layer && !meets.has(`${home} > ${target}`);
  });
  expect(wrong.map(({ from, to }) => `${from} -> ${to}`)).toEqual([]);
});

test('the simulator knows only the words and the contracts of the product, and its entry points the app', () => {
  const wrong = inside.filter(({ from, to, typeOnly }) => {
    if (!from.startsWith('simulator/') || from === 'simulator/main.ts' || from === 'simulator/simulate.ts' || from.startsWith('simulator/demo')) return false;
    return !(to.startsWith('simulator/') || to.startsWith('src/domain/') || to === 'src/clock.ts' || (to === 'adapters/contract.ts' && typeOnly));
  });
  expect(wrong.map(({ from, to }) => `${from} -> ${to}`)).toEqual([]);
});

test('no circles', () => {
  const next = new Map<string, string[]>();
  for (const { from, to, typeOnly } of inside) if (!typeOnly) next.set(from, [...(next.get(from) ?? []), to]);
  const done = new Set<string>();
  const circles: string[] = [];
  const visit = (file: string, path: readonly string[]): void => {
    const at = path.indexOf(file);
    if (at >= 0) circles.push([...path.slice(at), file].join(' -> '));
    if (at >= 0 || done.has(file)) return;
    for (const to of next.get(file) ?? []) visit(to, [...path, file]);
    done.add(file);
  };
  for (const file of files) visit(file, []);
  expect(circles).toEqual([]);
});

test('each npm package has its owner folder, and is a declared dependency', () => {
  const manifest: unknown = JSON.parse(readFileSync(join(root, 'package.json'), 'utf8'));
  const declared = Object.keys((manifest as { dependencies: Record<string, string> }).dependencies);
  const wrong = imports.flatMap(({ from, to }) => {
    if (to.startsWith('.') || to.startsWith('node:')) return [];
    const name = to.startsWith('@') ? to.split('/').slice(0, 2).join('/') : (to.split('/')[0] ?? to);
    const owner = owners.find(([pattern]) => pattern.test(name));
    if (owner === undefined) return [`${from}: ${name} has no owner folder`];
    if (!declared.includes(name)) return [`${from}: ${name} is no dependency`];
    return owner[1].some((folder) => from === folder || from.startsWith(`${folder}/`)) ? [] : [`${from}: ${name} belongs to ${owner[1].join(', ')}`];
  });
  expect(wrong).toEqual([]);
});

test('only src/clock.ts reads the clock or sets timers', () => {
  const wrong = files.filter((file) => file !== 'src/clock.ts' && !file.startsWith('src/web/islands/')).filter((file) =>
    /\bDate\.now\(|\bnew Date\(\)|(?<![.\w])set(Timeout|Interval|Immediate)\(|\bperformance\.now\(/.test(readFileSync(join(root, file), 'utf8').replaceAll(/\/\*[\s\S]*?\*\/|(^|\s)\/\/.*$/gm, '$1')));
  expect(wrong).toEqual([]);
});

test('only the simulator draws random numbers', () => {
  const wrong = files.filter((file) => file !== 'simulator/random.ts').filter((file) => /\bMath\.random\(/.test(readFileSync(join(root, file), 'utf8')));
  expect(wrong).toEqual([]);
});
