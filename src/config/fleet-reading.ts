/** What the parts that read one fleet file share while they read it. */
import type { AnyFormat } from '../../adapters/contract.ts';
import type { RuleKind } from '../rules/contract.ts';
import type { Findings } from './findings.ts';
import type { Path, YamlDocument } from './yaml-document.ts';

export interface FleetReaders {
  readonly kinds: ReadonlyMap<string, RuleKind>;
  readonly formats: ReadonlyMap<string, AnyFormat>;
  /** Which broker the service uses; `null`: not known (a fleet file checked alone), so nothing that depends on it is asked for. */
  readonly broker: 'embedded' | 'external' | null;
}

export interface FleetReadingState extends FleetReaders {
  readonly document: YamlDocument;
  readonly findings: Findings;
}

/** Entries of the list under `key`, with their paths; none when there is no list. Its own shape is checked elsewhere. */
export function entriesOf(block: unknown, key: string, path: Path): readonly { readonly value: unknown; readonly path: Path }[] {
  const list = fieldOf(block, key);
  return Array.isArray(list) ? list.map((value: unknown, index) => ({ value, path: [...path, key, index] })) : [];
}

export function fieldOf(block: unknown, key: string): unknown {
  return typeof block === 'object' && block !== null && Object.hasOwn(block, key) ? (block as Readonly<Record<string, unknown>>)[key] : undefined;
}

/** The id as written, even where the rest of the block is wrong: so that one mistake does not make others out of thin air. */
export function idOf(block: unknown): string | null {
  const id = fieldOf(block, 'id');
  return typeof id === 'string' ? id : null;
}

/** `return-pump` → `Return pump`: what a thing is called when the file gives it no name. */
export function nameFromId(id: string): string {
  const words = id.replaceAll('-', ' ').replace(/\btop off\b/, 'top-off').replace(/\buv\b/, 'UV').replace(/^ph\b/, 'pH');
  if (words.startsWith('pH')) return words;
  return words.charAt(0).toUpperCase() + words.slice(1);
}
