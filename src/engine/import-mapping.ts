/** Which point a column of a CSV file belongs to: as somebody said, as its name says by itself, or as a proposal for somebody to look at. */
import type { CsvChoices } from '../../adapters/csv-choices.ts';
import type { Fleet, Point } from '../domain/fleet.ts';
import { kinds } from '../domain/kinds.ts';
import { converter, kindsFor, unitsOf } from '../domain/units.ts';

export interface FileColumn {
  readonly label: string;
  /** Without its unit. */
  readonly name: string;
  readonly unit: string | null;
}

export type Destination =
  | { readonly kind: 'point'; readonly point: Point; /** Overrides what the file says. */ readonly unit: string | null }
  | { readonly kind: 'skip' }
  | { readonly kind: 'nowhere'; readonly why: string };

/** Points a file may hold: those of its tank and of the tank's site, or all. */
export function pointsFor(fleet: Fleet, tankId: string | null): readonly Point[] {
  if (tankId === null) return fleet.points;
  const siteId = fleet.tanks.find(({ id }) => id === tankId)?.siteId;
  return [...fleet.points.filter((point) => point.tankId === tankId), ...fleet.points.filter((point) => point.tankId === null && point.siteId === siteId)];
}

/** Where a column goes without anybody looking: only where it was said, or where its name is that of one point. */
export function destinationOf(column: FileColumn, choices: CsvChoices, points: readonly Point[], tankId: string | null): Destination {
  const said = choices.columns.find(({ label }) => label === column.label) ?? choices.columns.find(({ label }) => label === column.name);
  if (said === undefined) {
    const point = namedLike(column.name, points, tankId);
    return point === null ? { kind: 'nowhere', why: nobody(column.label, points, tankId) } : { kind: 'point', point, unit: null };
  }
  if (said.target.startsWith('@')) return { kind: 'skip' };
  const point = points.find(({ id }) => id === said.target) ?? points.find(({ id }) => id === `${tankId ?? ''}/${said.target}`) ?? null;
  if (point === null) return { kind: 'nowhere', why: `"${said.target}" is no point; ${choice(points, tankId)}` };
  const wrong = said.unit === null ? null : unitProblem(point, said.unit);
  return wrong === null ? { kind: 'point', point, unit: said.unit } : { kind: 'nowhere', why: wrong };
}

export function unitProblem(point: Point, unit: string): string | null {
  return point.kind === 'switch' || converter(point.kind, unit) !== null ? null : `unit "${unit}" does not fit ${point.name}, a ${kinds[point.kind].name}; it takes ${unitsOf(point.kind).join(', ')}`;
}

/** The point whose id or name is exactly that, if it is one only. */
function namedLike(name: string, points: readonly Point[], tankId: string | null): Point | null {
  const byId = points.find(({ id }) => id === name || (tankId !== null && id === `${tankId}/${name}`));
  if (byId !== undefined) return byId;
  if (tankId === null) return null;
  const plain = name.trim().toLowerCase();
  const byName = points.filter((point) => point.name.toLowerCase() === plain || shortId(point) === plain);
  return byName.length === 1 ? (byName[0] ?? null) : null;
}

const shortId = (point: Point): string => point.id.slice(point.id.indexOf('/') + 1);

function nobody(label: string, points: readonly Point[], tankId: string | null): string {
  return `"${label}" is no point${tankId === null ? '' : ` of ${tankId}`}; ${choice(points, tankId)}`;
}

function choice(points: readonly Point[], tankId: string | null): string {
  const shown = points.slice(0, 12).map((point) => (point.tankId === tankId && tankId !== null ? shortId(point) : point.id)).join(', ');
  return `map it to one of ${shown}${points.length > 12 ? ', …' : ''}, or to @skip${tankId === null ? ' (with the tank chosen, its short names do)' : ''}`;
}

export interface Proposal {
  readonly point: Point;
  readonly why: string;
  /** Its name alone says so: it goes there without anybody looking. */
  readonly isSure: boolean;
}

/**
 * A likely point for each column, for somebody to look at: by id, name, unit and kind. Each point is proposed once; where two are equally
 * likely, none is.
 */
export function proposals(columns: readonly FileColumn[], points: readonly Point[], tankId: string | null): ReadonlyMap<string, Proposal> {
  const candidates = columns.flatMap((column) => {
    const scored = points.map((point) => ({ column, point, ...likeness(column, point, points, tankId) })).filter(({ score }) => score > 0).sort((a, b) => b.score - a.score);
    return scored.filter(({ score }) => scored.filter((other) => other.score === score).length === 1);
  });
  const found = new Map<string, Proposal>();
  const taken = new Set<string>();
  for (const { column, point, why, score } of candidates.sort((a, b) => b.score - a.score)) {
    if (found.has(column.label) || taken.has(point.id)) continue;
    found.set(column.label, { point, why, isSure: score === SURE });
    taken.add(point.id);
  }
  return found;
}

const SURE = 100;

function likeness(column: FileColumn, point: Point, points: readonly Point[], tankId: string | null): { readonly score: number; readonly why: string } {
  if (column.unit !== null && converter(point.kind, column.unit) === null) return { score: 0, why: '' };
  if (namedLike(column.name, points, tankId) === point) return { score: SURE, why: 'it has this name' };
  const own = wordsOf(column.name);
  const alike = wordsOf(`${point.name} ${shortId(point)}`).filter((word) => own.some((mine) => isLike(mine, word)));
  const shared = new Set(alike).size;
  if (shared > 0) return { score: 50 + Math.round((40 * shared) / Math.max(own.length, wordsOf(point.name).length)), why: 'its name is alike' };
  const ofKind = points.filter(({ kind }) => kind === point.kind).length === 1;
  // "On or off" is made of words that stand in any name.
  const kindIsNamed = point.kind !== 'switch' && wordsOf(kinds[point.kind].name).some((word) => own.some((mine) => isLike(mine, word)));
  if (ofKind && kindIsNamed) return { score: 40, why: `the only ${kinds[point.kind].name}` };
  if (ofKind && column.unit !== null && kindsFor(column.unit).includes(point.kind)) return { score: 30, why: `the only point in ${column.unit}` };
  return { score: 0, why: '' };
}

const wordsOf = (text: string): string[] => text.normalize('NFKD').toLowerCase().split(/[^a-z0-9]+/).filter((word) => word !== '');

/** `temp` and `temperature` are alike; one or two letters are like nothing but themselves. */
const isLike = (a: string, b: string): boolean => a === b || (a.length >= 3 && b.startsWith(a)) || (b.length >= 3 && a.startsWith(b));
