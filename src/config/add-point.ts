/**
 * Adds a point to the text of a fleet file without touching anything else of it: comments, alignment, order and line ends stay to the
 * byte. The parsed document only says where the new line belongs; whether it says the right thing afterwards is checked by reading it
 * again.
 */
import { Document, isAlias, isMap, isScalar, isSeq, parseDocument, type YAMLMap, type YAMLSeq } from 'yaml';

/** A point as written in the fleet file. */
export interface WrittenPoint {
  readonly id: string;
  readonly name?: string;
  readonly kind: string;
  readonly equipment?: string;
  readonly place?: string;
  readonly unit?: string;
  readonly every: string;
  readonly source: { readonly topic: string; readonly format: string } & Readonly<Record<string, string>>;
}

export type AddedPoint = { readonly text: string } | { readonly why: string };

/** @param ownerId tank, or site for a point of the site itself. */
export function addPoint(text: string, ownerId: string, point: WrittenPoint): AddedPoint {
  const document = parseDocument(text, { version: '1.2', schema: 'core', keepSourceTokens: true });
  if (document.errors.length > 0) return { why: 'the fleet file has mistakes; "tankbell check" shows them' };
  const owner = ownerIn(document.contents, ownerId);
  if (owner === null) return { why: `the fleet file has no tank or site "${ownerId}" written out in full; add the point by hand` };
  const edited = insert(text, owner, pointLine(point));
  if (edited === null) return { why: `the block of "${ownerId}" in the fleet file is written in a way that is not changed by machine (aliases, or all on one line); add the point by hand` };
  return proves(text, edited, ownerId, point) ? { text: edited } : { why: `the block of "${ownerId}" in the fleet file is laid out so that the point cannot be added safely; add it by hand` };
}

/** `{ id: sump, kind: temperature, every: 30s, source: { topic: a/b, format: number } }` */
export function pointLine(point: WrittenPoint): string {
  const document = new Document(point);
  const flow = (node: unknown): void => {
    if (!isMap(node)) return;
    node.flow = true;
    for (const { value } of node.items) flow(value);
  };
  flow(document.contents);
  return document.toString({ lineWidth: 0, flowCollectionPadding: true }).trim();
}

function ownerIn(contents: unknown, ownerId: string): YAMLMap | null {
  const sites = listOf(contents, 'clients').flatMap((client) => listOf(client, 'sites'));
  const owners = [...sites, ...sites.flatMap((site) => listOf(site, 'tanks'))];
  return owners.find((owner) => owner.get('id') === ownerId) ?? null;
}

/** Entries written out in full; what is repeated by an alias has no place of its own. */
function listOf(node: unknown, key: string): YAMLMap[] {
  const list = isMap(node) ? node.get(key, true) : undefined;
  return isSeq(list) ? list.items.filter((item) => isMap(item)) : [];
}

function insert(text: string, owner: YAMLMap, line: string): string | null {
  const list = owner.get('points', true);
  if (isAlias(list)) return null;
  const eol = text.includes('\r\n') ? '\r\n' : '\n';
  if (isSeq(list) && list.flow === true) return intoFlow(text, list, line);
  if (isSeq(list) && list.items.length > 0) {
    const column = columnOfDash(text, list);
    return column === null ? null : intoBlock(text, endOfContent(text, list), `${' '.repeat(column)}- ${line}`, eol);
  }
  if (owner.flow === true) return null;
  // No points yet: a new block at the end of the owner's own keys.
  const column = columnOf(text, startOf(owner));
  const empty = owner.items.find(({ key }) => isScalar(key) && key.value === 'points');
  if (column === null) return null;
  const indent = ' '.repeat(column);
  if (empty === undefined) return intoBlock(text, endOfContent(text, owner), `${indent}points:${eol}${indent}  - ${line}`, eol);
  const keyStart = startOf(empty.key);
  return keyStart === null ? null : intoBlock(text, keyStart, `${indent}  - ${line}`, eol);
}

function intoFlow(text: string, list: YAMLSeq, line: string): string | null {
  const end = list.range?.[1];
  if (end === undefined || text[end - 1] !== ']') return null;
  const before = text.slice(0, end - 1).replace(/[ \t]+$/, '');
  const separator = list.items.length === 0 || /,$/.test(before) ? ' ' : ', ';
  return `${before}${separator}${line} ]${text.slice(end)}`;
}

/** Behind the line in which `offset` stands. */
function intoBlock(text: string, offset: number | null, lines: string, eol: string): string | null {
  if (offset === null) return null;
  const found = text.indexOf('\n', Math.max(0, offset));
  return found < 0 ? `${text}${eol}${lines}${eol}` : `${text.slice(0, found + 1)}${lines}${eol}${text.slice(found + 1)}`;
}

/** Where the last value of a collection ends; comments and empty lines behind it do not belong to it. */
function endOfContent(text: string, node: unknown): number | null {
  if (isMap(node) && node.flow !== true) {
    const last = node.items.at(-1);
    return last === undefined ? null : (endOfContent(text, last.value) ?? startOf(last.key));
  }
  if (isSeq(node) && node.flow !== true) return node.items.length === 0 ? null : endOfContent(text, node.items.at(-1));
  const range = (node as { readonly range?: readonly [number, number, number] | null } | null)?.range;
  if (range === null || range === undefined) return null;
  // A block text ("|", ">") ends behind its last line break.
  return text[range[1] - 1] === '\n' ? range[1] - 1 : range[1];
}

function startOf(node: unknown): number | null {
  return (node as { readonly range?: readonly [number, number, number] | null } | null)?.range?.[0] ?? null;
}

function columnOf(text: string, offset: number | null): number | null {
  return offset === null ? null : offset - (text.lastIndexOf('\n', offset - 1) + 1);
}

function columnOfDash(text: string, list: YAMLSeq): number | null {
  const first = startOf(list.items[0]);
  if (first === null) return null;
  const lineStart = text.lastIndexOf('\n', first - 1) + 1;
  const dash = /^ *- /.exec(text.slice(lineStart, first));
  return dash === null ? null : dash[0].length - 2;
}

/** The edited text must mean the old document with exactly this point at the end of exactly this list. */
function proves(before: string, after: string, ownerId: string, point: WrittenPoint): boolean {
  const document = parseDocument(after, { version: '1.2', schema: 'core' });
  const old = parseDocument(before, { version: '1.2', schema: 'core' });
  if (document.errors.length > 0) return false;
  const owner = ownerIn(old.contents, ownerId);
  if (owner === null) return false;
  const list = owner.get('points', true);
  if (isSeq(list)) list.items.push(old.createNode(point));
  else owner.set('points', old.createNode([point]));
  return canonical(old.toJS({ maxAliasCount: 100 })) === canonical(document.toJS({ maxAliasCount: 100 }));
}

function canonical(value: unknown): string {
  return JSON.stringify(value, (_key, inner: unknown) =>
    typeof inner === 'object' && inner !== null && !Array.isArray(inner) ? Object.fromEntries(Object.entries(inner).sort(([a], [b]) => (a < b ? -1 : 1))) : inner);
}
