/** A YAML text, parsed so that every value still knows its line and column. */
import { isAlias, isMap, isPair, isScalar, isSeq, LineCounter, parseDocument, visit, type Document, type Node, type YAMLError } from 'yaml';
import type { Mistake } from './mistake.ts';

export type Path = readonly (string | number)[];

export interface Place {
  readonly line: number;
  readonly column: number;
}

export interface YamlDocument {
  readonly file: string;
  readonly value: unknown;
  /** Where the value at `path` begins; of the nearest one above it when there is none. */
  placeOf(path: Path): Place;
  /** Where the key that ends `path` begins. */
  placeOfKey(path: Path): Place;
}

/**
 * @returns the document with the mistakes that did not keep it from being read (a key written twice), or only mistakes when the text is
 * no YAML at all.
 */
export function parseYaml(text: string, file: string): { readonly document: YamlDocument | null; readonly mistakes: readonly Mistake[] } {
  const lines = new LineCounter();
  const parsed = parseDocument(text, { lineCounter: lines, prettyErrors: false, version: '1.2', schema: 'core', strict: true });
  const place = (offset: number): Place => {
    const { line, col } = lines.linePos(offset);
    return { line: Math.max(1, line), column: Math.max(1, col) };
  };
  const broken = parsed.errors.find((error) => error.code !== 'DUPLICATE_KEY');
  // What the parser says after the first place it lost its footing is mostly echo.
  if (broken !== undefined) return { document: null, mistakes: [syntaxMistake(broken, text, file, place)] };
  const mistakes = parsed.errors.map((error) => syntaxMistake(error, text, file, place));

  let value: unknown;
  try {
    value = parsed.toJS({ maxAliasCount: 100 });
  } catch (error) {
    // The parser throws a ReferenceError without a place for an alias it does not know, or one that repeats without end.
    if (!(error instanceof ReferenceError)) throw error;
    const alias = firstAlias(parsed);
    const message = alias === null || alias.known ? 'the aliases ("*name") of this file repeat too much' : `"*${alias.name}" repeats something that is not marked "&${alias.name}" above it`;
    return { document: null, mistakes: [...mistakes, { file, ...place(alias?.offset ?? 0), path: '', message, fix: 'write the values out instead of repeating them by "*name"' }] };
  }
  return {
    document: {
      file,
      value,
      placeOf: (path) => place(offsetOf(parsed, path)),
      placeOfKey: (path) => place(keyOffsetOf(parsed, path)),
    },
    mistakes,
  };
}

/** The first alias that leads nowhere; else the first one. */
function firstAlias(document: Document.Parsed): { readonly name: string; readonly offset: number; readonly known: boolean } | null {
  const aliases: { readonly name: string; readonly offset: number; readonly known: boolean }[] = [];
  visit(document, {
    Alias(_, alias) {
      aliases.push({ name: alias.source, offset: startOf(alias) ?? 0, known: alias.resolve(document) !== undefined });
    },
  });
  return aliases.find(({ known }) => !known) ?? aliases[0] ?? null;
}

/** Keys of the outermost block, as far as the text can be read: enough to tell what sort of file it is. */
export function topKeys(text: string): readonly string[] {
  const { contents } = parseDocument(text, { prettyErrors: false, logLevel: 'silent' });
  return isMap(contents) ? contents.items.flatMap(({ key }) => (isScalar(key) ? [String(key.value)] : [])) : [];
}

/** `clients[0].sites[1].timeZone` */
export function showPath(path: Path): string {
  return path.map((step, index) => (typeof step === 'number' ? `[${step}]` : index === 0 ? step : `.${step}`)).join('');
}

function syntaxMistake(error: YAMLError, text: string, file: string, place: (offset: number) => Place): Mistake {
  const start = Math.min(error.pos[0], text.length);
  // The eye looks for the first letter of a line, not for the space before it.
  const offset = start + (/^ *(?=\S)/.exec(text.slice(start))?.[0].length ?? 0);
  const [message, fix] = syntaxWords(error, text.slice(offset, error.pos[1] > offset ? error.pos[1] : offset + 1));
  return { file, ...place(offset), path: '', message, fix };
}

function syntaxWords(error: YAMLError, piece: string): readonly [message: string, fix: string] {
  switch (error.code) {
    case 'DUPLICATE_KEY':
      return ['this key stands twice in the same block', 'keep one of the two; to have several, make a list with "- " in front of each'];
    case 'TAB_AS_INDENT':
      return ['a tab is used to indent', 'indent with spaces, two per level'];
    case 'BAD_SCALAR_START':
      return [`a text cannot begin with "${piece.charAt(0)}"`, `put it in quotes: "${piece.charAt(0)}…"`];
    case 'BAD_INDENT':
      if (error.message.startsWith('Flow')) return ['a "{" or "[" further up is not closed', 'close it with "}" or "]" on the line where it was opened'];
      return ['this line is not indented like the lines it belongs to', 'line it up with the keys of the same block; use two spaces per level'];
    case 'MISSING_CHAR':
      return [`something is not closed: ${firstLine(error.message)}`, 'check the quotes, brackets and braces on this line and the one before'];
    case 'MULTIPLE_DOCS':
      return ['the file holds more than one document', 'keep one, and remove the "---" between them'];
    case 'BLOCK_AS_IMPLICIT_KEY':
    case 'MULTILINE_IMPLICIT_KEY':
      return [`not readable as "key: value": ${firstLine(error.message)}`, 'put one "key: value" on a line, and quotes around a text that contains ": "'];
    default:
      return [`not readable as YAML: ${firstLine(error.message)}`, 'check indentation, the space after each ":" and the quotes near this place'];
  }
}

const firstLine = (text: string): string => text.split('\n', 1)[0] ?? '';

type Found = { readonly node: unknown; readonly key: unknown };

/** Follows a path through maps, lists and aliases, as far as it goes. */
function follow(document: Document.Parsed, path: Path): { readonly trail: readonly Found[]; readonly complete: boolean } {
  const trail: Found[] = [{ node: document.contents, key: null }];
  let node: unknown = document.contents;
  for (const step of path) {
    if (isAlias(node)) node = node.resolve(document);
    if (isMap(node)) {
      const pair = node.items.find((item) => isPair(item) && (isScalar(item.key) ? String(item.key.value) : String(item.key)) === String(step));
      if (pair === undefined) return { trail, complete: false };
      node = pair.value;
      trail.push({ node: pair.value, key: pair.key });
    } else if (isSeq(node) && typeof step === 'number' && step < node.items.length) {
      node = node.items[step];
      trail.push({ node, key: null });
    } else {
      return { trail, complete: false };
    }
  }
  return { trail, complete: true };
}

function offsetOf(document: Document.Parsed, path: Path): number {
  const { trail } = follow(document, path);
  for (const found of [...trail].reverse()) {
    // An empty value ("address:") has no text of its own: its key is where to look.
    const empty = isScalar(found.node) && found.node.value === null && found.node.source === '';
    const offset = (empty ? startOf(found.key) : null) ?? startOf(found.node) ?? startOf(found.key);
    if (offset !== null) return offset;
  }
  return 0;
}

function keyOffsetOf(document: Document.Parsed, path: Path): number {
  const { trail, complete } = follow(document, path);
  const last = trail.at(-1);
  const offset = complete && last !== undefined ? startOf(last.key) : null;
  return offset ?? offsetOf(document, path);
}

function startOf(node: unknown): number | null {
  const range = (node as Node | null | undefined)?.range;
  return range === null || range === undefined ? null : range[0];
}
