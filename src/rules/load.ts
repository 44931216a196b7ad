/**
 * Finds the rule kinds: every file in `kinds/` is one. Each is held against the contract at start-up, so that a mistake in a new
 * kind is told with its file's name before anything is watched, not at night.
 */
import { readdir } from 'node:fs/promises';
import { isDeepStrictEqual } from 'node:util';
import { z } from 'zod';
import { priorities } from '../domain/alarm.ts';
import type { RuleKind } from './contract.ts';

/**
 * @param folder ends in `/`.
 * @throws RuleKindError naming every file that breaks the contract, and how.
 */
export async function loadRuleKinds(folder: URL = new URL('./kinds/', import.meta.url)): Promise<ReadonlyMap<string, RuleKind>> {
  const files = (await readdir(folder)).filter((file) => /\.(ts|js)$/.test(file) && !file.endsWith('.d.ts')).sort();
  const kinds = new Map<string, RuleKind>();
  const faults: string[] = [];
  for (const file of files) {
    const found = await loadKind(new URL(file, folder));
    const name = file.replace(/\.(ts|js)$/, '');
    const wrong = 'wrong' in found ? [found.wrong] : breaches(found.kind, name);
    if ('kind' in found && wrong.length === 0) kinds.set(name, found.kind as RuleKind);
    else faults.push(...wrong.map((fault) => `rules/kinds/${file}: ${fault}`));
  }
  if (faults.length > 0) throw new RuleKindError(faults);
  return kinds;
}

export class RuleKindError extends Error {
  override readonly name = 'RuleKindError';
  readonly faults: readonly string[];
  constructor(faults: readonly string[]) {
    super(faults.join('\n'));
    this.faults = faults;
  }
}

async function loadKind(file: URL): Promise<{ readonly kind: unknown } | { readonly wrong: string }> {
  try {
    const module = (await import(file.href)) as { readonly default?: unknown };
    return { kind: module.default };
  } catch (error) {
    return { wrong: `cannot be loaded: ${error instanceof Error ? error.message : String(error)}` };
  }
}

/** Everything in which `candidate` breaks the contract; empty when it keeps it. */
export function breaches(candidate: unknown, name: string): readonly string[] {
  if (typeof candidate !== 'object' || candidate === null) return ['has no default export; write `export default defineRule({ … })`'];
  const kind = candidate as Partial<Record<keyof RuleKind, unknown>>;
  const faults: string[] = [];
  if (!/^[a-z][a-z0-9]*(-[a-z0-9]+)*$/.test(name)) faults.push('the file name must be words of a-z and 0-9 joined by hyphens');
  if (kind.kind !== name) faults.push(`kind is ${JSON.stringify(kind.kind)}, but must be the file name, "${name}"`);
  if (typeof kind.watchesFor !== 'string' || kind.watchesFor.trim().length < 10) faults.push('watchesFor must be one sentence that says what it watches for');
  for (const method of ['apply', 'step', 'firstChecks'] as const) {
    if (typeof kind[method] !== 'function') faults.push(`${method} must be a function`);
  }
  for (const method of ['applyTo', 'objection', 'speaksFor'] as const) {
    if (kind[method] !== undefined && typeof kind[method] !== 'function') faults.push(`${method} must be a function or left out`);
  }
  return [...faults, ...settingsFaults(kind.settings), ...stateFaults(kind.state, kind.initial), ...policyFaults(kind.policy)];
}

function settingsFaults(schema: unknown): readonly string[] {
  if (!(schema instanceof z.ZodObject)) return ['settings must be a z.strictObject'];
  const faults: string[] = [];
  for (const [key, value] of Object.entries(schema.shape)) {
    if (reservedKeys.has(key)) faults.push(`settings.${key}: this key of the fleet file belongs to every rule; choose another`);
    const sentence = value instanceof z.ZodType ? value.description : undefined;
    if (sentence === undefined || sentence.trim() === '') faults.push(`settings.${key} has no .describe() sentence (it must be the last call of the chain)`);
  }
  const empty = schema.safeParse({});
  if (!empty.success) faults.push(`settings must accept {}: ${z.prettifyError(empty.error)}`);
  const strange = schema.safeParse({ 'not-a-setting': 1 });
  if (!strange.error?.issues.some(({ code }) => code === 'unrecognized_keys')) faults.push('settings must refuse keys it does not know; use z.strictObject');
  return faults;
}

/** What the fleet file says about any rule, beside the settings of its kind. */
export const reservedKeys: ReadonlySet<string> = new Set(['kind', 'subject', 'enabled', 'priority', 'onDelay', 'offDelay']);

function stateFaults(schema: unknown, initial: unknown): readonly string[] {
  if (!(schema instanceof z.ZodType)) return ['state must be a zod schema'];
  const stored: unknown = initial === undefined ? undefined : JSON.parse(JSON.stringify(initial));
  const faults = isDeepStrictEqual(stored, initial) ? [] : ['initial does not survive being stored as JSON'];
  const parsed = schema.safeParse(stored);
  return parsed.success ? faults : [...faults, `state refuses its own initial: ${z.prettifyError(parsed.error)}`];
}

function policyFaults(policy: unknown): readonly string[] {
  const parsed = z.strictObject({ priority: z.enum(priorities), onDelayMs: z.int().min(0), offDelayMs: z.int().min(0) }).safeParse(policy);
  return parsed.success ? [] : [`policy: ${z.prettifyError(parsed.error)}`];
}
