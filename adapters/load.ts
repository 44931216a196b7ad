/** Finds every payload format: one file in `adapters/payloads/` is one format. A file that breaks the contract stops the start, by name. */
import { readdir } from 'node:fs/promises';
import { basename, extname } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import { z } from 'zod';
import type { AnyFormat, PayloadFormat, SessionFormat } from './contract.ts';

const payloadsFolder = fileURLToPath(new URL('./payloads/', import.meta.url));

/**
 * @param folder for tests; the real one otherwise.
 * @returns the formats by name.
 * @throws FormatFileError naming the file and what the contract asks for.
 */
export async function loadFormats(folder: string = payloadsFolder): Promise<ReadonlyMap<string, AnyFormat>> {
  const formats = new Map<string, AnyFormat>();
  const files = (await readdir(folder)).filter((file) => /\.m?[jt]s$/.test(file)).sort();
  for (const file of files) {
    const format = check(file, await importFile(folder, file));
    formats.set(format.format, format);
  }
  return formats;
}

export class FormatFileError extends Error {
  override readonly name = 'FormatFileError';
  constructor(file: string, problem: string, cause?: unknown) {
    super(`adapters/payloads/${file}: ${problem}`, { cause });
  }
}

async function importFile(folder: string, file: string): Promise<unknown> {
  try {
    const module: unknown = await import(pathToFileURL(`${folder}/${file}`).href);
    return typeof module === 'object' && module !== null && 'default' in module ? module.default : undefined;
  } catch (cause) {
    throw new FormatFileError(file, `cannot be loaded: ${cause instanceof Error ? cause.message : String(cause)}`, cause);
  }
}

const common = { format: z.string(), looksLike: z.string().min(10), options: z.instanceof(z.ZodObject) };
const method = <T>() => z.custom<T>((value) => typeof value === 'function', 'must be a function');
const shape = z.object({ ...common, prepare: method<PayloadFormat['prepare']>() });
const sessionShape = z.object({ ...common, open: method<SessionFormat['open']>(), addressProblem: method<SessionFormat['addressProblem']>(), prepareKept: method<SessionFormat['prepareKept']>() });

function check(file: string, exported: unknown): AnyFormat {
  const isSession = typeof exported === 'object' && exported !== null && 'open' in exported;
  const parsed = (isSession ? sessionShape : shape).safeParse(exported);
  if (!parsed.success) {
    const problems = parsed.error.issues.map((issue) => `${issue.path.join('.') || 'default export'}: ${issue.message}`).join('; ');
    throw new FormatFileError(file, `is no payload format (see adapters/contract.ts): ${problems}`);
  }
  const { format, options } = parsed.data;
  const name = basename(file, extname(file));
  if (format !== name) throw new FormatFileError(file, `calls itself "${format}"; a format is named like its file, "${name}"`);
  for (const [key, option] of Object.entries(options.shape)) {
    const description = option instanceof z.ZodType ? option.description : undefined;
    if (description === undefined || description === '') throw new FormatFileError(file, `option "${key}" has no .describe() sentence`);
  }
  return parsed.data;
}
