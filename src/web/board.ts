/** The board: every tank in the order in which somebody is needed. */
import { type Alarm, type AlarmStatus, isBehindCause, type Priority } from '../domain/alarm.ts';
import type { Fleet, Point, Site, Tank } from '../domain/fleet.ts';
import type { LiveView } from '../engine/contract.ts';
import type { Rule } from '../rules/contract.ts';
import { causeTrees } from './causes.ts';
import { type Present, presentOf } from './present.ts';

/**
 * In order: an open alarm nobody has taken; one that is over but was never acknowledged; one somebody has; nothing known
 * to be wrong but something not known; alarms only held back; nothing.
 */
export const standings = ['needs-help', 'returned', 'acknowledged', 'unknown', 'held', 'quiet'] as const;
export type Standing = (typeof standings)[number];

export interface BoardRow {
  readonly tank: Tank;
  readonly site: Site;
  readonly clientName: string;
  readonly standing: Standing;
  /** The alarm the standing comes from; of another tank of the site when it explains what is wrong here. */
  readonly alarm: Alarm | null;
  /** Name of that other tank. */
  readonly alarmTankName: string | null;
  /** Open alarms beyond that one, urgent first. */
  readonly otherAlarms: readonly Alarm[];
  /** Open alarms that are suppressed behind one of these. */
  readonly explained: readonly Alarm[];
  /** Since when it stands so; `null` when that is not known or nothing is wrong. */
  readonly sinceMs: number | null;
  /** Points without a current value. */
  readonly silentPoints: readonly Point[];
  /** What the gateways of these say of themselves, each reason once, and of how many: a point that is merely silent has none. */
  readonly offline: { readonly points: number; readonly whys: readonly string[] };
  /** Rules that answer `unknown` although everything they need is installed. */
  readonly unknownRules: number;
  /** Rules that somebody holds back: shelved, out of service. */
  readonly heldRules: number;
  readonly headlines: readonly Present[];
  /** Latest reading of any point of the tank itself. */
  readonly contactMs: number | null;
}

export function boardRows(fleet: Fleet, rules: readonly Rule[], view: LiveView, nowMs: number): readonly BoardRow[] {
  const sites = new Map(fleet.sites.map((site) => [site.id, site]));
  const clients = new Map(fleet.clients.map((client) => [client.id, client.name]));
  const pointsByTank = groupBy(fleet.points, (point) => point.tankId);
  const rulesByTank = groupBy(rules, (rule) => rule.facts.tank.id);
  const alarmsByTank = groupBy([...view.openAlarms.values()], (alarm) => alarm.tankId);
  const tankNames = new Map(fleet.tanks.map((tank) => [tank.id, tank.name]));
  const rows: BoardRow[] = [];
  for (const tank of fleet.tanks) {
    const site = sites.get(tank.siteId);
    if (site === undefined) continue;
    rows.push(boardRow({
      tank, site, clientName: clients.get(site.clientId) ?? site.clientId, tankNames, view, nowMs,
      points: pointsByTank.get(tank.id) ?? [], rules: rulesByTank.get(tank.id) ?? [], alarms: alarmsByTank.get(tank.id) ?? [],
    }));
  }
  return rows.sort(byNeed);
}

interface RowFacts {
  readonly tank: Tank;
  readonly site: Site;
  readonly clientName: string;
  readonly tankNames: ReadonlyMap<string, string>;
  readonly view: LiveView;
  readonly nowMs: number;
  readonly points: readonly Point[];
  readonly rules: readonly Rule[];
  readonly alarms: readonly Alarm[];
}

function boardRow({ tank, site, clientName, tankNames, view, nowMs, points, rules, alarms }: RowFacts): BoardRow {
  const presents = points.map((point) => presentOf(point, view, rules, nowMs));
  const silentPoints = presents.filter((present) => present.state !== 'current').map((present) => present.point);
  const offlineWhys = presents.flatMap(({ offlineWhy }) => offlineWhy ?? []);
  const offline = { points: offlineWhys.length, whys: [...new Set(offlineWhys)] };
  const unknownSince = rules
    .filter((rule) => rule.missing === null)
    .map((rule) => view.statuses.get(rule.id))
    .filter((status) => status !== undefined && status.verdict === 'unknown' && status.hold === null);
  const heldRules = rules.filter((rule) => isPutAside(view.statuses.get(rule.id), view)).length;
  const contacts = presents.flatMap((present) => (present.state === 'never' ? [] : [present.atMs]));
  const contactMs = contacts.length === 0 ? null : Math.max(...contacts);
  const trees = causeTrees(alarms.filter((alarm) => alarm.policy.priority !== 'journal'), view);
  const [first, ...others] = trees.map(({ alarm }) => alarm).sort(byAlarmNeed);
  const standing = standingOf(first, silentPoints.length > 0 || unknownSince.length > 0, heldRules > 0);
  return {
    tank, site, clientName, standing, silentPoints, offline, contactMs, heldRules,
    alarm: first ?? null,
    alarmTankName: first === undefined || first.tankId === tank.id ? null : (tankNames.get(first.tankId) ?? first.tankId),
    otherAlarms: others,
    explained: trees.flatMap(({ explained }) => explained),
    sinceMs: sinceOf(standing, first, presents, unknownSince.map((status) => status?.verdictSinceMs ?? null)),
    unknownRules: unknownSince.length,
    headlines: headlines(presents),
  };
}

/** What a cause holds back is shown under it, and comes back without anybody. */
function isPutAside(status: AlarmStatus | undefined, view: LiveView): boolean {
  if (status === undefined || status.hold === null) return false;
  const alarm = status.alarmId === null ? undefined : view.openAlarms.get(status.alarmId);
  return alarm === undefined || !isBehindCause(alarm);
}

function standingOf(alarm: Alarm | undefined, somethingUnknown: boolean, somethingHeld: boolean): Standing {
  const fromAlarm = alarm === undefined ? null : standingOfAlarm(alarm);
  if (fromAlarm !== null && fromAlarm !== 'held') return fromAlarm;
  if (somethingUnknown) return 'unknown';
  if (somethingHeld) return 'held';
  return fromAlarm ?? 'quiet';
}

function standingOfAlarm(alarm: Alarm): Standing {
  switch (alarm.state) {
    case 'unacknowledged': return 'needs-help';
    case 'returned': return 'returned';
    case 'acknowledged': return 'acknowledged';
    case 'shelved':
    case 'suppressed':
    case 'out-of-service': return 'held';
    case 'normal': return 'quiet';
  }
}

function sinceOf(standing: Standing, alarm: Alarm | undefined, presents: readonly Present[], verdicts: readonly (number | null)[]): number | null {
  if (standing === 'quiet') return null;
  if (standing !== 'unknown') return alarm?.beganMs ?? null;
  const stale = presents.flatMap((present) => (present.state === 'stale' ? [present.atMs] : []));
  const known = [...stale, ...verdicts.filter((since) => since !== null)];
  return known.length === 0 ? null : Math.min(...known);
}

const priorityOrder: Readonly<Record<Priority, number>> = { urgent: 0, high: 1, low: 2, journal: 3 };

function byNeed(a: BoardRow, b: BoardRow): number {
  return standings.indexOf(a.standing) - standings.indexOf(b.standing)
    || priorityRank(a) - priorityRank(b)
    || (a.sinceMs ?? 0) - (b.sinceMs ?? 0)
    || a.clientName.localeCompare(b.clientName)
    || a.tank.name.localeCompare(b.tank.name);
}

/** Order among the open alarms of a tank: the one that needs somebody most comes first, then the older. */
export function byAlarmNeed(a: Alarm, b: Alarm): number {
  return standings.indexOf(standingOfAlarm(a)) - standings.indexOf(standingOfAlarm(b))
    || priorityOrder[a.policy.priority] - priorityOrder[b.policy.priority]
    || a.beganMs - b.beganMs
    || a.id - b.id;
}

const priorityRank = (row: BoardRow): number => (row.alarm === null ? 9 : priorityOrder[row.alarm.policy.priority]);

/** At most three values that tell how a tank is: water temperature, what is left to top off with, the water's salt or pH. */
function headlines(presents: readonly Present[]): readonly Present[] {
  const find = (wanted: (present: Present) => boolean): Present | undefined => presents.find(wanted);
  const temperature = find(({ point }) => point.kind === 'temperature' && point.place === 'display')
    ?? find(({ point }) => point.kind === 'temperature' && point.place === 'sump')
    ?? find(({ point }) => point.kind === 'temperature');
  const reservoir = find(({ point }) => point.place === 'reservoir' && ['level', 'fill', 'volume'].includes(point.kind));
  const chemistry = find(({ point }) => point.kind === 'conductivity') ?? find(({ point }) => point.kind === 'acidity');
  return [temperature, reservoir, chemistry].filter((present) => present !== undefined);
}

function groupBy<Item, Key>(items: readonly Item[], keyOf: (item: Item) => Key): Map<Key, Item[]> {
  const groups = new Map<Key, Item[]>();
  for (const item of items) {
    const key = keyOf(item);
    const group = groups.get(key);
    if (group === undefined) groups.set(key, [item]);
    else group.push(item);
  }
  return groups;
}
