/** Collects every mistake of one document, and turns what zod refuses into words with a fix. */
import { z } from 'zod';
import type { Mistake } from './mistake.ts';
import { nearest, suggest } from './nearest.ts';
import { type Path, showPath, type YamlDocument } from './yaml-document.ts';

export interface Findings {
  readonly mistakes: readonly Mistake[];
  /** A mistake in the value at `path`. */
  at(path: Path, message: string, fix: string): void;
  /** A mistake in the key that ends `path`. */
  atKey(path: Path, message: string, fix: string): void;
  /** Checks one value against its shape: the parsed value, or `null` after noting everything wrong with it. */
  shape<T>(schema: z.ZodType<T>, path: Path, value: unknown): T | null;
}

export function findingsIn(document: YamlDocument): Findings {
  const mistakes: Mistake[] = [];
  const at: Findings['at'] = (path, message, fix) => {
    mistakes.push({ file: document.file, ...document.placeOf(path), path: showPath(path), message, fix });
  };
  const atKey: Findings['atKey'] = (path, message, fix) => {
    mistakes.push({ file: document.file, ...document.placeOfKey(path), path: showPath(path), message, fix });
  };
  return {
    mistakes,
    at,
    atKey,
    shape(schema, path, value) {
      const parsed = schema.safeParse(value);
      if (parsed.success) return parsed.data;
      const { issues } = parsed.error;
      for (const issue of issues) {
        const issuePath = issue.path.map((step) => (typeof step === 'symbol' ? String(step) : step));
        // A mistyped key is one mistake, not two: the key that is then missing goes without saying.
        if (valueAt(value, issuePath) === undefined && issues.some((other) => other.code === 'unrecognized_keys' && other.keys.some((key) => meantKey(key, issuePath.at(-1))))) continue;
        const fullPath = [...path, ...issuePath];
        if (issue.code === 'unrecognized_keys') {
          const known = knownKeys(schemaAt(schema, issuePath)) ?? [];
          for (const key of issue.keys) atKey([...fullPath, key], `"${key}" is not a key of this block`, unknownKeyFix(key, known));
        } else {
          const [message, fix] = explain(issue, schemaAt(schema, issuePath), valueAt(value, issuePath), fullPath.at(-1));
          at(fullPath, message, fix);
        }
      }
      return null;
    },
  };
}

/** Keys an object schema accepts, or `null` when it takes any. */
export function knownKeys(schema: z.core.$ZodType | null): readonly string[] | null {
  const inner = schema === null ? null : unwrap(schema);
  return inner instanceof z.ZodObject ? Object.keys(inner.shape) : null;
}

export function unknownKeyFix(key: string, known: readonly string[]): string {
  if (isSecret(key) && known.includes('passwordEnv')) {
    return 'secrets never stand in a file: set an environment variable, and write its name, like "passwordEnv: TANKBELL_MAIL"';
  }
  return known.length === 0 ? 'remove it' : suggest(key, known);
}

const isSecret = (key: string): boolean => /^(password|passwd|pass|secret|token)$/i.test(key);

const meantKey = (written: string, missing: string | number | undefined): boolean =>
  typeof missing === 'string' && ((isSecret(written) && missing === 'passwordEnv') || nearest(written, [missing]) !== null);

type Issue = z.core.$ZodIssue;

function explain(issue: Issue, schema: z.core.$ZodType | null, value: unknown, step: string | number | undefined): readonly [message: string, fix: string] {
  const name = typeof step === 'string' ? step : null;
  const what = name !== null ? `"${name}"` : step === undefined ? 'the file' : 'this entry';
  const example = exampleOf(schema);
  const write = example === null ? `write ${name === null ? 'it' : `"${name}: …"`}` : `write ${name === null ? `"${example}"` : `"${name}: ${example}"`}`;

  if (value === undefined) return [`${what} is missing`, `add "${name ?? ''}: ${example ?? '…'}"${sentenceOf(schema)}`];
  if (value === null) return [`${what} is empty`, `${write}, or remove the line`];
  // Whatever stands here may be the password itself: it is not repeated.
  if (name === 'passwordEnv' && issue.code !== 'custom') return ['this is not the name of an environment variable', write];
  switch (issue.code) {
    case 'custom': {
      const fix: unknown = issue.params?.['fix'];
      // A check written elsewhere (a payload format, a rule kind) says in one sentence what it wants.
      return typeof fix === 'string' ? [issue.message, fix] : [`${described(value)} is not accepted for ${what}`, issue.message];
    }
    case 'invalid_type': {
      if (issue.expected === 'string' && (typeof value === 'number' || typeof value === 'boolean')) {
        return [`${what} is a text, and ${String(value)} without quotes is read as a ${typeof value}`, `put it in quotes: ${name === null ? '' : `${name}: `}"${String(value)}"`];
      }
      if (issue.expected === 'array') return [`${what} must be a list, and ${described(value)} stands here`, `begin each entry with "- "${example === null ? '' : `, like "${example}"`}`];
      if (issue.expected === 'object' || issue.expected === 'record') return [`${what} must be a block of "key: value" lines, and ${described(value)} stands here`, example === null ? 'indent the keys below it, one on a line' : write];
      if (issue.expected === 'number') return [`${what} must be a number, and ${described(value)} stands here`, example === null ? `write a plain number such as 25.5${sentenceOf(schema)}` : write];
      if (issue.expected === 'boolean') return [`${what} is either true or false, and ${described(value)} stands here`, 'write true or false'];
      return [`${what} must be ${issue.expected}, and ${described(value)} stands here`, write];
    }
    case 'invalid_value': {
      const allowed = issue.values.map(String);
      return [`${described(value)} is not accepted for ${what}`, suggest(String(value), allowed)];
    }
    case 'too_small':
      if (issue.origin === 'array') return [`${what} needs at least ${String(issue.minimum)}`, write];
      if (issue.origin === 'string') return [`${what} is empty`, `${write}, or remove the line`];
      return [`${what} is ${described(value)}, too small`, `write ${issue.inclusive === false ? 'more than' : 'at least'} ${String(issue.minimum)}`];
    case 'too_big':
      return [`${what} is ${described(value)}, too large`, `write ${issue.inclusive === false ? 'less than' : 'at most'} ${String(issue.maximum)}`];
    default:
      return [`${described(value)} is not accepted for ${what}`, example === null ? issue.message : write];
  }
}

function described(value: unknown): string {
  if (Array.isArray(value)) return 'a list';
  if (typeof value === 'object' && value !== null) return 'a block of keys';
  return typeof value === 'string' ? `"${value}"` : String(value);
}

/** The schema of the value at `path` below `schema`, as far as it can be told. */
function schemaAt(schema: z.core.$ZodType, path: Path): z.core.$ZodType | null {
  let current: z.core.$ZodType | null = schema;
  for (const step of path) {
    const inner: z.core.$ZodType | null = current === null ? null : unwrap(current);
    if (inner instanceof z.ZodObject) current = (inner.shape as Readonly<Record<string, z.core.$ZodType>>)[String(step)] ?? null;
    else if (inner instanceof z.ZodArray) current = inner.element;
    else return null;
  }
  return current;
}

function unwrap(schema: z.core.$ZodType): z.core.$ZodType {
  if (schema instanceof z.ZodOptional || schema instanceof z.ZodNullable || schema instanceof z.ZodDefault || schema instanceof z.ZodPrefault) return unwrap(schema.unwrap());
  if (schema instanceof z.ZodPipe) return unwrap(schema.in);
  return schema;
}

function valueAt(value: unknown, path: Path): unknown {
  let current = value;
  for (const step of path) {
    if (typeof current !== 'object' || current === null) return undefined;
    current = (current as Readonly<Record<string | number, unknown>>)[step];
  }
  return current;
}

function metaOf(schema: z.core.$ZodType | null): Readonly<Record<string, unknown>> {
  return (schema === null ? undefined : z.globalRegistry.get(schema)) ?? {};
}

function exampleOf(schema: z.core.$ZodType | null): string | null {
  const example = metaOf(schema)['example'];
  return typeof example === 'string' ? example : null;
}

function sentenceOf(schema: z.core.$ZodType | null): string {
  const sentence = metaOf(schema)['description'];
  return typeof sentence === 'string' ? `: ${sentence.replace(/\.$/, '')}` : '';
}
