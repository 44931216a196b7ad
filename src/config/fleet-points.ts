/** Points: what is measured, in which unit, and where its readings come from. */
import { MINUTE } from '../domain/duration.ts';
import { type EquipmentKind, type Place, places, type Point, type PointSource } from '../domain/fleet.ts';
import { type Kind, kindNames } from '../domain/kinds.ts';
import { kindsFor, unitsOf } from '../domain/units.ts';
import { knownKeys, unknownKeyFix } from './findings.ts';
import { type FleetReadingState, fieldOf, nameFromId } from './fleet-reading.ts';
import { fleetShapes } from './fleet-shapes.ts';
import { checkFence, type ClaimedSource, type SiteTopics } from './fleet-topics.ts';
import { suggest } from './nearest.ts';
import type { Path } from './yaml-document.ts';

export interface PointOwner {
  readonly siteId: string;
  /** `null` for the points of the site itself. */
  readonly tankId: string | null;
  readonly topics: SiteTopics;
  /** Equipment of the tank by the id written in the file; of a piece with mistakes only the kind, if even that. */
  readonly equipment: ReadonlyMap<string, EquipmentKind | null>;
}

/** One `points:` entry; its source is added to `sources`. @returns `null` when it has mistakes (noted). */
export function readPoint(state: FleetReadingState, owner: PointOwner, value: unknown, path: Path, sources: ClaimedSource[]): Point | null {
  const { findings } = state;
  const parsed = findings.shape(fleetShapes.point, path, value);
  const kind = readKind(state, fieldOf(value, 'kind'), path);
  if (kind !== null) checkUnit(state, kind, fieldOf(value, 'unit'), path);
  const rawSource = fieldOf(value, 'source');
  const source = rawSource === undefined ? null : readSource(state, owner, rawSource, path, sources);
  const equipment = fieldOf(value, 'equipment');
  const equipmentKind = typeof equipment === 'string' ? readEquipment(state, owner, equipment, path) : undefined;
  const place = readPlace(state, owner, fieldOf(value, 'place'), equipmentKind, path);
  if (parsed === null || kind === null) return null;

  const silentAfterMs = parsed.silentAfter ?? Math.max(5 * parsed.every, 5 * MINUTE);
  if (silentAfterMs < parsed.every) {
    findings.at([...path, 'silentAfter'], 'the point would be silent between two readings: "silentAfter" is shorter than "every"', 'write at least twice "every", or remove the line (5 times "every", at least 5 min)');
  }
  return {
    id: `${owner.tankId ?? owner.siteId}/${parsed.id}`,
    siteId: owner.siteId,
    tankId: owner.tankId,
    equipmentId: parsed.equipment === undefined || owner.tankId === null ? null : `${owner.tankId}/${parsed.equipment}`,
    name: parsed.name ?? nameFromId(parsed.id),
    kind,
    place,
    unit: parsed.unit ?? null,
    everyMs: parsed.every,
    ...(parsed.cadence === 'sent' ? { cadence: 'sent' as const } : {}),
    silentAfterMs,
    keepMs: parsed.keep ?? null,
    source,
  };
}

function readKind(state: FleetReadingState, written: unknown, path: Path): Kind | null {
  if (typeof written !== 'string' || written.trim() === '') return null;
  const kind = kindNames.find((known) => known === written.trim());
  if (kind === undefined) {
    state.findings.at([...path, 'kind'], `"${written}" is no kind of point`, suggest(written, kindNames));
    return null;
  }
  return kind;
}

function checkUnit(state: FleetReadingState, kind: Kind, written: unknown, path: Path): void {
  if (typeof written !== 'string' || written.trim() === '') return;
  const unit = written.trim();
  const units = unitsOf(kind);
  if (units.includes(unit)) return;
  const others = kindsFor(unit);
  const fix = others.length === 0 ? suggest(unit, units) : `write one of: ${units.join(', ')}; "${unit}" is a unit of ${others.map((other) => `kind: ${other}`).join(' and ')}`;
  state.findings.at([...path, 'unit'], `"${unit}" is no unit of ${kind}`, fix);
}

/** @returns `null` when the equipment is not installed or its kind is not known. */
function readEquipment(state: FleetReadingState, owner: PointOwner, written: string, path: Path): EquipmentKind | null {
  if (owner.tankId === null) {
    state.findings.at([...path, 'equipment'], 'equipment belongs to a tank, and this point belongs to the site', 'move the point to the "points" of the tank, or remove "equipment"');
    return null;
  }
  const kind = owner.equipment.get(written);
  if (kind === undefined) {
    const known = [...owner.equipment.keys()];
    state.findings.at([...path, 'equipment'], `tank "${owner.tankId}" has no equipment "${written}"`, known.length === 0 ? 'add it to the "equipment" of the tank' : suggest(written, known));
    return null;
  }
  return kind;
}

function readPlace(state: FleetReadingState, owner: PointOwner, written: unknown, equipment: EquipmentKind | null | undefined, path: Path): Place {
  const fallback: Place = owner.tankId === null ? 'room' : equipment === undefined ? 'display' : equipment === 'top-off-reservoir' ? 'reservoir' : 'equipment';
  if (owner.tankId === null && typeof written === 'string' && written !== 'room') {
    state.findings.at([...path, 'place'], `a point of the site is measured in the room, not at "${written}"`, 'write "place: room", or move the point to the "points" of its tank');
  } else if (written === 'equipment' && equipment === undefined && owner.tankId !== null) {
    state.findings.at([...path, 'place'], '"place: equipment" does not say which equipment', 'add "equipment: …" with the id of the heater, pump …, or write another place');
  }
  return places.find((place) => place === written) ?? fallback;
}

function readSource(state: FleetReadingState, owner: PointOwner, value: unknown, pointPath: Path, sources: ClaimedSource[]): PointSource | null {
  const path = [...pointPath, 'source'];
  const parsed = state.findings.shape(fleetShapes.source, path, value);
  if (parsed === null) return null;
  const { topic, format: formatName, ...rest } = parsed;
  const format = state.formats.get(formatName);
  if (format === undefined) {
    state.findings.at([...path, 'format'], `"${formatName}" is no payload format`, suggest(formatName, [...state.formats.keys()]));
  }
  const options = format === undefined ? null : checkedOptions(state, format.options, path, rest, `format "${formatName}"`, ['topic', 'format']);
  const claimed = { topic, format: formatName, options: rest, pointPath, site: owner.topics };
  const problem = format !== undefined && 'addressProblem' in format ? format.addressProblem(topic) : null;
  if (problem !== null) state.findings.at([...path, 'topic'], problem.problem, problem.fix);
  else checkFence(state, claimed, [...path, 'topic']);
  sources.push(claimed);
  return options === null ? null : { topic, format: formatName, options: options.checked };
}

/**
 * Checks the keys that a format or rule kind adds to a block against its own schema. Unknown keys are mistakes even where that schema
 * would let them pass.
 * @param ownKeys keys of the block that are not options, for the "did you mean".
 */
export function checkedOptions(state: FleetReadingState, schema: PayloadSchema, path: Path, rest: Readonly<Record<string, unknown>>, what: string, ownKeys: readonly string[]): { readonly checked: unknown; readonly written: Readonly<Record<string, unknown>> } | null {
  const known = knownKeys(schema);
  const isKnown = (key: string): boolean => known === null || known.includes(key);
  const unknown = Object.keys(rest).filter((key) => !isKnown(key));
  for (const key of unknown) {
    state.findings.atKey([...path, key], `"${key}" is not a key of ${what}`, unknownKeyFix(key, [...(known ?? []), ...ownKeys]));
  }
  const written = Object.fromEntries(Object.entries(rest).filter(([key]) => isKnown(key)));
  const mistakesBefore = state.findings.mistakes.length;
  const checked = state.findings.shape(schema, path, written);
  return unknown.length > 0 || state.findings.mistakes.length > mistakesBefore ? null : { checked, written };
}

type PayloadSchema = Parameters<FleetReadingState['findings']['shape']>[0];
