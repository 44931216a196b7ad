/** A payload file that breaks the contract stops the start and is named. */
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterEach, beforeEach, expect, it } from 'vitest';
import { FormatFileError, loadFormats } from '../../adapters/load.ts';

let folder = '';
beforeEach(() => {
  // Beside the sources, so that the files can import zod.
  folder = mkdtempSync(join(fileURLToPath(new URL('.', import.meta.url)), 'payloads-'));
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const good = `import { z } from 'zod';\nexport default { format: 'good', looksLike: 'Something good to read.', options: z.strictObject({ a: z.string().describe('An option.') }), prepare: () => () => ({ samples: [], refusals: [] }) };\n`;

it('finds the formats that come with Tankbell, and a new file', async () => {
  expect([...(await loadFormats()).keys()]).toEqual(['json', 'number', 'senml', 'sparkplug']);
  writeFileSync(join(folder, 'good.ts'), good);
  expect([...(await loadFormats(folder)).keys()]).toEqual(['good']);
});

it.each([
  ['other.ts', good, 'calls itself "good"'],
  ['bare.ts', 'export const x = 1;', 'default export'],
  ['lacking.ts', good.replace("prepare: () => () => ({ samples: [], refusals: [] })", 'x: 1'), 'prepare: must be a function'],
  ['good.ts', good.replace(".describe('An option.')", ''), 'option "a" has no .describe()'],
  ['throws.ts', "throw new Error('boom');", 'cannot be loaded: boom'],
])('names %s', async (file, text, problem) => {
  writeFileSync(join(folder, file), text);
  await expect(loadFormats(folder)).rejects.toThrow(FormatFileError);
  await expect(loadFormats(folder)).rejects.toThrow(`adapters/payloads/${file}`);
  await expect(loadFormats(folder)).rejects.toThrow(problem);
});
