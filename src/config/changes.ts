/** What differs between two fleets, in words for the journal. */
import { showExactDuration } from '../domain/duration.ts';
import type { Fleet } from '../domain/fleet.ts';

export interface FleetChange {
  readonly what: 'added' | 'removed' | 'changed';
  /** `tank`, `point`, `rule setting` … */
  readonly thing: Thing;
  /** Id in the fleet; of a rule setting `tank/kind/subject`. */
  readonly id: string;
  readonly siteId: string | null;
  readonly tankId: string | null;
  /** The key that changed, as named in `Fleet`; `null` when the whole thing was added or removed. */
  readonly key: string | null;
  /** Old and new value as kept in `Fleet`; `null` where there is none. */
  readonly from: unknown;
  readonly to: unknown;
  /** One sentence: `Tank lobby-reef: display volume 908.5 L, was 900 L.` */
  readonly text: string;
}

type Thing = 'client' | 'site' | 'tank' | 'piece of equipment' | 'point' | 'rule setting' | 'person' | 'on-call order';

/**
 * What of a tank or site that is added or removed as a whole is part of that one change and not listed again.
 * @param before `null`: nothing was known, so everything is new.
 */
export function fleetChanges(before: Fleet | null, after: Fleet): readonly FleetChange[] {
  const old = before === null ? new Map<string, Item>() : itemsOf(before);
  const fresh = itemsOf(after);
  const changes: FleetChange[] = [];
  for (const [key, item] of fresh) {
    const earlier = old.get(key);
    if (earlier !== undefined) changes.push(...changedKeys(earlier, item));
    else if (item.within === null || old.has(item.within)) changes.push(whole('added', item, fresh));
  }
  for (const [key, item] of old) {
    if (!fresh.has(key) && (item.within === null || fresh.has(item.within))) changes.push(whole('removed', item, old));
  }
  return changes;
}

interface Item {
  readonly thing: Thing;
  readonly id: string;
  readonly name: string;
  readonly siteId: string | null;
  readonly tankId: string | null;
  /** Key of the item it is part of. */
  readonly within: string | null;
  readonly values: Readonly<Record<string, unknown>>;
}

function itemsOf(fleet: Fleet): Map<string, Item> {
  const items = new Map<string, Item>();
  const add = (item: Item): void => {
    items.set(keyOf(item.thing, item.id), item);
  };
  const siteOfTank = new Map(fleet.tanks.map((tank) => [tank.id, tank.siteId]));
  const siteOf = (tankId: string): string | null => siteOfTank.get(tankId) ?? null;
  for (const { id, name } of fleet.clients) add({ thing: 'client', id, name, siteId: null, tankId: null, within: null, values: { name } });
  for (const { id, ...values } of fleet.sites) add({ thing: 'site', id, name: values.name, siteId: id, tankId: null, within: keyOf('client', values.clientId), values });
  for (const { id, ...values } of fleet.tanks) add({ thing: 'tank', id, name: values.name, siteId: values.siteId, tankId: id, within: keyOf('site', values.siteId), values });
  for (const { id, ...values } of fleet.equipment) {
    add({ thing: 'piece of equipment', id, name: values.name, siteId: siteOf(values.tankId), tankId: values.tankId, within: keyOf('tank', values.tankId), values });
  }
  for (const { id, ...values } of fleet.points) {
    const within = values.tankId === null ? keyOf('site', values.siteId) : keyOf('tank', values.tankId);
    add({ thing: 'point', id, name: values.name, siteId: values.siteId, tankId: values.tankId, within, values });
  }
  for (const { tankId, kind, subject, settings, ...rest } of fleet.ruleSettings) {
    const id = `${tankId}/${kind}${subject === null ? '' : `/${subject.slice(subject.lastIndexOf('/') + 1)}`}`;
    const values = { ...rest, ...(isRecord(settings) ? settings : { settings }) };
    add({ thing: 'rule setting', id, name: kind, siteId: siteOf(tankId), tankId, within: keyOf('tank', tankId), values });
  }
  for (const { id, ...values } of fleet.people) add({ thing: 'person', id, name: values.name, siteId: null, tankId: null, within: null, values });
  add({ thing: 'on-call order', id: 'on-call', name: 'on-call order', siteId: null, tankId: null, within: null, values: { ...fleet.onCall } });
  return items;
}

const keyOf = (thing: Thing, id: string): string => `${thing} ${id}`;

function changedKeys(before: Item, after: Item): readonly FleetChange[] {
  const keys = new Set([...Object.keys(before.values), ...Object.keys(after.values)]);
  return [...keys].flatMap((key): FleetChange[] => {
    const from = before.values[key] ?? null;
    const to = after.values[key] ?? null;
    if (same(from, to)) return [];
    const text = `${titleOf(after)}: ${labelOf(key)} ${showValue(key, to)}, was ${showValue(key, from)}.`;
    return [{ what: 'changed', ...identity(after), key, from, to, text }];
  });
}

function whole(what: 'added' | 'removed', item: Item, items: ReadonlyMap<string, Item>): FleetChange {
  const parts = partsOf(item, items);
  const counts = [...new Set(parts.map(({ thing }) => thing))].map((thing) => countOf(parts.filter((part) => part.thing === thing).length, thing));
  const value = { ...item.values, ...(parts.length === 0 ? {} : { parts: parts.map(({ thing, id, values }) => ({ thing, id, ...values })) }) };
  return {
    what,
    ...identity(item),
    key: null,
    from: what === 'removed' ? value : null,
    to: what === 'added' ? value : null,
    text: `${titleOf(item)} ${what}${counts.length === 0 ? '' : `, with ${counts.join(', ')}`}.`,
  };
}

/** Everything inside of an item, at any depth; one pass, as a first fleet may be large. */
function partsOf(item: Item, items: ReadonlyMap<string, Item>): readonly Item[] {
  const inside = new Set([keyOf(item.thing, item.id)]);
  const parts: Item[] = [];
  // Whatever something is part of stands before it in the map.
  for (const [key, other] of items) {
    if (other.within === null || !inside.has(other.within)) continue;
    inside.add(key);
    parts.push(other);
  }
  return parts;
}

const identity = ({ thing, id, siteId, tankId }: Item): Pick<FleetChange, 'thing' | 'id' | 'siteId' | 'tankId'> => ({ thing, id, siteId, tankId });

function titleOf({ thing, id, name }: Item): string {
  if (thing === 'on-call order') return 'On-call order';
  if (thing === 'rule setting') return `Rule setting ${id}`;
  const capital = thing.charAt(0).toUpperCase() + thing.slice(1);
  return `${capital} ${name} (${id})`;
}

function countOf(count: number, thing: Thing): string {
  const plural = thing === 'person' ? 'people' : thing === 'piece of equipment' ? 'pieces of equipment' : `${thing}s`;
  return `${count} ${count === 1 ? thing : plural}`;
}

/** `setpointC` → `setpoint`, `waterShutOff` → `water shut off`. */
function labelOf(key: string): string {
  return withoutUnit(key).replace(/([a-z])([A-Z])/g, (_, before: string, capital: string) => `${before} ${capital.toLowerCase()}`);
}

const unitOfSuffix: readonly (readonly [suffix: string, show: (value: number) => string])[] = [
  ['Litres', (value) => `${plainNumber(value)} L`],
  ['Watts', (value) => `${plainNumber(value)} W`],
  ['Minute', (value) => `${String(Math.floor(value / 60)).padStart(2, '0')}:${String(value % 60).padStart(2, '0')}`],
  ['Ms', showExactDuration],
  ['Mm', (value) => `${plainNumber(value)} mm`],
  ['K', (value) => `${plainNumber(value)} K`],
  ['C', (value) => `${plainNumber(value)} °C`],
];

function withoutUnit(key: string): string {
  const suffix = unitOfSuffix.find(([ending]) => key.endsWith(ending) && key.length > ending.length)?.[0];
  return suffix === undefined ? key : key.slice(0, -suffix.length);
}

/** Six digits show what a person wrote; conversion from gallons leaves a tail that nobody wrote. */
const plainNumber = (value: number): string => String(Number(value.toPrecision(6)));

function showValue(key: string, value: unknown): string {
  if (value === null || value === undefined) return 'not given';
  if (typeof value === 'number') return (unitOfSuffix.find(([ending]) => key.endsWith(ending) && key.length > ending.length)?.[1] ?? plainNumber)(value);
  if (typeof value === 'boolean') return value ? 'yes' : 'no';
  if (typeof value === 'string') return `"${value}"`;
  if (key === 'steps' && Array.isArray(value)) return value.map(showStep).join(', then ') || 'nobody';
  return JSON.stringify(value);
}

function showStep(step: unknown): string {
  if (!isRecord(step)) return String(step);
  const { personId, afterMs } = step;
  return typeof afterMs === 'number' && afterMs > 0 ? `${String(personId)} after ${showExactDuration(afterMs)}` : String(personId);
}

const isRecord = (value: unknown): value is Readonly<Record<string, unknown>> => typeof value === 'object' && value !== null && !Array.isArray(value);

/** Same meaning: the order of keys does not count, the order of lists does. */
function same(a: unknown, b: unknown): boolean {
  if (a === b) return true;
  if (Array.isArray(a) && Array.isArray(b)) return a.length === b.length && a.every((value, index) => same(value, b[index]));
  if (!isRecord(a) || !isRecord(b)) return false;
  const keys = new Set([...Object.keys(a), ...Object.keys(b)]);
  return [...keys].every((key) => same(a[key] ?? null, b[key] ?? null));
}
