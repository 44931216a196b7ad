/**
 * Style sheet, icon and islands: built once when the web starts, kept in memory with their compressed forms, named by a hash of their
 * content so that browsers may keep them for ever.
 */
import { createHash } from 'node:crypto';
import { readFile } from 'node:fs/promises';
import { createRequire } from 'node:module';
import { fileURLToPath } from 'node:url';
import { promisify } from 'node:util';
import { brotliCompress, gzip } from 'node:zlib';
import { build } from 'esbuild';
import type { AssetUrls } from './layout.tsx';

export interface Assets {
  readonly urls: AssetUrls;
  /** By path. */
  readonly files: ReadonlyMap<string, Asset>;
}

export interface Asset {
  readonly type: string;
  readonly plain: Buffer;
  readonly gzip: Buffer;
  readonly brotli: Buffer;
}

/** @throws when an island does not compile: a programmer's error. */
export async function buildAssets(): Promise<Assets> {
  const [css, live, charts] = await Promise.all([styleSheet(), island('live'), island('charts')]);
  const files = new Map<string, Asset>();
  const add = async (name: string, extension: string, type: string, text: string): Promise<string> => {
    const plain = Buffer.from(text);
    const hash = createHash('sha256').update(plain).digest('base64url').slice(0, 12);
    const path = `/assets/${name}-${hash}.${extension}`;
    files.set(path, { type, plain, gzip: await promisify(gzip)(plain), brotli: await promisify(brotliCompress)(plain) });
    return path;
  };
  const urls = {
    css: await add('style', 'css', 'text/css; charset=utf-8', css),
    icon: await add('icon', 'svg', 'image/svg+xml', icon),
    live: await add('live', 'js', 'text/javascript; charset=utf-8', live),
    charts: await add('charts', 'js', 'text/javascript; charset=utf-8', charts),
  };
  return { urls, files };
}

async function island(name: string): Promise<string> {
  const entry = fileURLToPath(new URL(`./islands/${name}.ts`, import.meta.url));
  const result = await build({
    entryPoints: [entry], bundle: true, minify: true, write: false, format: 'esm', target: 'es2022', platform: 'browser', legalComments: 'inline',
    // The islands have their own compiler settings; nothing of the surroundings may leak in.
    tsconfigRaw: { compilerOptions: { target: 'ES2022', strict: true } },
    logLevel: 'silent',
  });
  const [file] = result.outputFiles;
  if (file === undefined) throw new Error(`island ${name} was built into nothing`);
  return file.text;
}

async function styleSheet(): Promise<string> {
  const own = await readFile(new URL('./style.css', import.meta.url), 'utf8');
  const ofCharts = await readFile(createRequire(import.meta.url).resolve('uplot/dist/uPlot.min.css'), 'utf8');
  return `${ofCharts}\n${own}`;
}

const icon = `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 24 24"><rect width="24" height="24" rx="5" fill="#3a3f44"/><g fill="none" stroke="#fff" stroke-width="1.6" stroke-linejoin="round" stroke-linecap="round"><path fill="#fff" d="M6.5 13.5c1.3-1 1.7-2.7 1.7-4.2a3.8 3.8 0 0 1 7.6 0c0 1.5.4 3.2 1.7 4.2Z"/><path d="M4 18q2-1.700 4 0t4 0 4 0 4 0"/></g></svg>`;
