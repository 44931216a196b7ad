/**
 * The fleet file: clients, sites, tanks, equipment, points, rules, people, rota. Checked once, completely; every mistake is reported with its
 * place and its fix, and one mistake hides no other.
 */
import type { Client, Contact, Equipment, EquipmentKind, Fleet, Point, RuleSetting, Site, Tank } from '../domain/fleet.ts';
import { factsOf } from '../rules/compile.ts';
import type { Kind } from '../domain/kinds.ts';
import { kindNames } from '../domain/kinds.ts';
import { findingsIn } from './findings.ts';
import { equipmentKindOf, readEquipment } from './fleet-equipment.ts';
import { type IdLedger, idLedger } from './fleet-ids.ts';
import { readOnCall, readPeople } from './fleet-people.ts';
import { readPoint } from './fleet-points.ts';
import { entriesOf, type FleetReaders, type FleetReadingState, fieldOf, idOf } from './fleet-reading.ts';
import { checkAgainstTank, readRule } from './fleet-rules.ts';
import { fleetShapes } from './fleet-shapes.ts';
import { checkShared, checkSites, type ClaimedSource, type SiteTopics } from './fleet-topics.ts';
import { inFileOrder, type Mistake } from './mistake.ts';
import { type NamedSecret, namedSecret } from './secrets.ts';
import { giveBackMemory } from './give-back.ts';
import { type Path, parseYaml } from './yaml-document.ts';

export type { FleetReaders } from './fleet-reading.ts';

export type FleetReading =
  | { readonly fleet: Fleet; /** Environment variables the fleet needs, with the place that names them. */ readonly secrets: readonly NamedSecret[] }
  | { readonly mistakes: readonly Mistake[] };

/** Characters of a text whose reading leaves more behind than should be carried along. */
const LARGE = 256 * 1024;

/** @param fileName as shown in messages. */
export function readFleet(text: string, fileName: string, readers: FleetReaders): FleetReading {
  const reading = readText(text, fileName, readers);
  if (text.length > LARGE) giveBackMemory();
  return reading;
}

function readText(text: string, fileName: string, readers: FleetReaders): FleetReading {
  const { document, mistakes: syntax } = parseYaml(text, fileName);
  if (document === null) return { mistakes: inFileOrder(syntax) };
  const findings = findingsIn(document);
  const parts = readParts({ ...readers, document, findings });
  const mistakes = [...syntax, ...findings.mistakes];
  return mistakes.length > 0 ? { mistakes: inFileOrder(mistakes) } : parts;
}

/** Filled while the file is read; of use only when no mistake was found. */
interface Parts {
  readonly clients: Client[];
  readonly sites: Site[];
  readonly tanks: Tank[];
  readonly equipment: Equipment[];
  readonly points: Point[];
  readonly ruleSettings: RuleSetting[];
  readonly secrets: NamedSecret[];
  readonly sources: ClaimedSource[];
  readonly siteTopics: SiteTopics[];
  readonly settings: WrittenSetting[];
}

interface WrittenSetting {
  readonly setting: RuleSetting;
  readonly path: Path;
  /** Points and pieces of equipment the tank and its site have in the file. */
  readonly installed: number;
}

const emptyFleet: Fleet = { clients: [], sites: [], tanks: [], equipment: [], points: [], ruleSettings: [], people: [], onCall: { steps: [], repeatAfterMs: null } };

function readParts(state: FleetReadingState): { readonly fleet: Fleet; readonly secrets: readonly NamedSecret[] } {
  const { document, findings } = state;
  const parts: Parts = { clients: [], sites: [], tanks: [], equipment: [], points: [], ruleSettings: [], secrets: [], sources: [], siteTopics: [], settings: [] };
  const nothing = { fleet: emptyFleet, secrets: [] };
  if (document.value === null || document.value === undefined) {
    findings.at([], 'the file is empty', 'begin with "clients:"; config/fleet.example.yaml shows every key');
    return nothing;
  }
  findings.shape(fleetShapes.fleet, [], document.value);
  if (typeof document.value !== 'object' || Array.isArray(document.value)) return nothing;
  const ids = idLedger(state, 'in the whole file');
  for (const { value, path } of entriesOf(document.value, 'clients', [])) readClient(state, ids, value, path, parts);
  if (Array.isArray(fieldOf(document.value, 'clients')) && countTanks(document.value) === 0) {
    findings.at(['clients'], 'there is no tank in the file: nothing would be watched', 'add a client with a site and a tank; config/fleet.example.yaml shows every key');
  }
  checkShared(state, parts.sources);
  checkSites(state, parts.siteTopics, parts.sources);
  const people = readPeople(state, ids);
  const onCall = readOnCall(state);
  const { clients, sites, tanks, equipment, points, ruleSettings, secrets } = parts;
  const fleet: Fleet = { clients, sites, tanks, equipment, points, ruleSettings, people, onCall };
  for (const { setting, path, installed } of parts.settings) {
    if (!tanks.some(({ id, siteId }) => id === setting.tankId && sites.some((site) => site.id === siteId))) continue;
    const facts = factsOf(fleet, setting.tankId);
    if (facts.points.length + facts.equipment.length === installed) checkAgainstTank(state, setting, facts, path);
  }
  return { fleet, secrets };
}

function readClient(state: FleetReadingState, ids: IdLedger, value: unknown, path: Path, parts: Parts): void {
  const parsed = state.findings.shape(fleetShapes.client, path, value);
  ids.claim(idOf(value), 'client', path);
  if (parsed !== null) parts.clients.push({ id: parsed.id, name: parsed.name });
  for (const site of entriesOf(value, 'sites', path)) readSite(state, ids, idOf(value) ?? '', site.value, site.path, parts);
}

function readSite(state: FleetReadingState, ids: IdLedger, clientId: string, value: unknown, path: Path, parts: Parts): void {
  const parsed = state.findings.shape(fleetShapes.site, path, value);
  const siteId = idOf(value) ?? '';
  ids.claim(idOf(value), 'site', path);
  const account = readAccount(state, value, path, parts.secrets);
  const prefix = prefixOf(value, siteId);
  const group = fieldOf(value, 'sparkplugGroup');
  const topics: SiteTopics = { siteId, prefix, group: typeof group === 'string' ? group : null, sitePath: path, user: account?.user ?? null };
  parts.siteTopics.push(topics);

  const local = idLedger(state, `within the site "${siteId}"`);
  const sitePoints = new Map<string, Subject>();
  for (const point of entriesOf(value, 'points', path)) {
    local.claim(idOf(point.value), 'point', point.path);
    const read = readPoint(state, { siteId, tankId: null, topics, equipment: new Map() }, point.value, point.path, parts.sources);
    if (read !== null) parts.points.push(read);
    addSubject(sitePoints, siteId, point.value);
  }
  for (const tank of entriesOf(value, 'tanks', path)) readTank(state, ids, { siteId, topics, sitePoints }, tank.value, tank.path, parts);
  const contacts = readContacts(state, value, path);
  if (parsed === null) return;
  if (parsed.httpTokenEnv !== undefined) parts.secrets.push(namedSecret(state.document, [...path, 'httpTokenEnv'], parsed.httpTokenEnv, `HTTP for the site "${parsed.id}"`, 'token'));
  parts.sites.push({
    id: parsed.id,
    clientId,
    name: parsed.name,
    timeZone: parsed.timeZone,
    address: parsed.address ?? null,
    contacts,
    access: parsed.access ?? null,
    breaker: parsed.breaker ?? null,
    waterShutOff: parsed.waterShutOff ?? null,
    topics: parsed.topics ?? `${parsed.id}/`,
    ...(parsed.sparkplugGroup === undefined ? {} : { sparkplugGroup: parsed.sparkplugGroup }),
    ...(parsed.nextVisit === undefined ? {} : { nextVisit: parsed.nextVisit }),
    account,
    httpTokenEnv: parsed.httpTokenEnv ?? null,
  });
}

type Subject = { readonly id: string; readonly kind: Kind | null };

function readTank(
  state: FleetReadingState,
  ids: IdLedger,
  site: { readonly siteId: string; readonly topics: SiteTopics; readonly sitePoints: ReadonlyMap<string, Subject> },
  value: unknown,
  path: Path,
  parts: Parts,
): void {
  const parsed = state.findings.shape(fleetShapes.tank, path, value);
  const tankId = idOf(value) ?? '';
  ids.claim(idOf(value), 'tank', path);
  if (parsed !== null) parts.tanks.push({ id: parsed.id, siteId: site.siteId, name: parsed.name, water: parsed.water, displayLitres: parsed.display, sumpLitres: parsed.sump ?? 0 });

  const local = idLedger(state, `within the tank "${tankId}"`);
  const subjects = new Map<string, Subject>(site.sitePoints);
  const equipment = new Map<string, EquipmentKind | null>();
  const pieces = entriesOf(value, 'equipment', path);
  for (const piece of pieces) {
    local.claim(idOf(piece.value), 'piece of equipment', piece.path);
    const kind = equipmentKindOf(piece.value);
    const read = readEquipment(state, tankId, piece.value, piece.path, pieces.filter((other) => equipmentKindOf(other.value) === kind).length === 1);
    if (read !== null) parts.equipment.push(read);
    const id = idOf(piece.value);
    if (id !== null) {
      equipment.set(id, kind);
      subjects.set(id, { id: `${tankId}/${id}`, kind: null });
    }
  }
  for (const point of entriesOf(value, 'points', path)) {
    local.claim(idOf(point.value), 'point', point.path);
    const read = readPoint(state, { siteId: site.siteId, tankId, topics: site.topics, equipment }, point.value, point.path, parts.sources);
    if (read !== null) parts.points.push(read);
    addSubject(subjects, tankId, point.value);
  }
  readRules(state, { tankId, subjects }, value, path, parts);
}

function readRules(state: FleetReadingState, owner: { readonly tankId: string; readonly subjects: ReadonlyMap<string, Subject> }, tank: unknown, path: Path, parts: Parts): void {
  const earlier = new Map<string, Path>();
  for (const rule of entriesOf(tank, 'rules', path)) {
    const read = readRule(state, owner, rule.value, rule.path);
    if (read === null) continue;
    const key = `${read.kind} ${read.subject ?? ''}`;
    const first = earlier.get(key);
    if (first !== undefined) {
      state.findings.at(rule.path, `rule kind "${read.kind}" about the same subject stands on line ${state.document.placeOf(first).line} already`, 'put the settings of both into one entry');
    } else {
      earlier.set(key, rule.path);
      parts.ruleSettings.push(read);
      parts.settings.push({ setting: read, path: rule.path, installed: owner.subjects.size });
    }
  }
}

function readContacts(state: FleetReadingState, site: unknown, path: Path): readonly Contact[] {
  return entriesOf(site, 'contacts', path).flatMap((contact) => {
    const parsed = state.findings.shape(fleetShapes.contact, contact.path, contact.value);
    return parsed === null ? [] : [parsed];
  });
}

function readAccount(state: FleetReadingState, site: unknown, path: Path, secrets: NamedSecret[]): { readonly user: string; readonly passwordEnv: string } | null {
  const written = fieldOf(site, 'account');
  if (written === undefined) return null;
  const accountPath = [...path, 'account'];
  const parsed = state.findings.shape(fleetShapes.account, accountPath, written);
  // An external broker keeps its own accounts; the ones in the file are then not used.
  if (parsed !== null && state.broker !== 'external') secrets.push(namedSecret(state.document, [...accountPath, 'passwordEnv'], parsed.passwordEnv, `the broker account "${parsed.user}"`));
  return parsed;
}

/** @returns `null` when the file gives something that cannot be used: then no topic is measured against it. */
function prefixOf(site: unknown, siteId: string): string | null {
  const written = fieldOf(site, 'topics');
  if (written === undefined) return fleetShapes.site.shape.id.safeParse(siteId).success ? `${siteId}/` : null;
  return typeof written === 'string' && fleetShapes.site.shape.topics.safeParse(written).success ? written : null;
}

function addSubject(subjects: Map<string, Subject>, ownerId: string, point: unknown): void {
  const id = idOf(point);
  if (id !== null) subjects.set(id, { id: `${ownerId}/${id}`, kind: kindNames.find((kind) => kind === fieldOf(point, 'kind')) ?? null });
}

function countTanks(document: unknown): number {
  return entriesOf(document, 'clients', [])
    .flatMap(({ value, path }) => entriesOf(value, 'sites', path))
    .flatMap(({ value, path }) => entriesOf(value, 'tanks', path)).length;
}
