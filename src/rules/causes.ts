/**
 * Which alarms explain which: one line per pair of kinds, roots first. What is explained is suppressed behind its cause (`src/alarms/lifecycle.ts`);
 * how long it waits for one, and which of several counts, is decided in `src/engine/causes.ts`.
 *
 * A line claims that the consequence *follows* from the cause, by physics or wiring, within hours. Where it only often comes along, it has no place here:
 * an alarm that is suppressed wrongly is worse than one page too many. So nothing explains a wet leak sensor, and nothing explains a heater that is
 * stuck on. A kind must not explain itself, and no chain of lines may come back to where it began (`tests/rules/causes.test.ts`).
 */
import type { Equipment, EquipmentKind, Point } from '../domain/fleet.ts';
import type { Kind } from '../domain/kinds.ts';
import type { Side } from '../domain/verdict.ts';
import type { Rule } from './contract.ts';

/**
 * Where a consequence must be to be explained. `equipment`: about the same piece. `circuit`: its equipment hangs on a circuit of the cause's.
 * `gateway`: all of its points come by the gateway of the cause. `tank` and `site`: the same one.
 */
export type Scope = 'equipment' | 'circuit' | 'gateway' | 'tank' | 'site';

export interface CauseLine {
  readonly cause: string;
  readonly explains: readonly string[];
  readonly scope: Scope;
  /** Only where the consequence is off on this side. */
  readonly side?: Side;
  /** Only where the consequence watches a value of one of these kinds. */
  readonly of?: readonly Kind[];
  /** Only where the cause is about one of these. */
  readonly causeEquipment?: readonly EquipmentKind[];
}

/** Rules that speak of a value of the water. */
const valueKinds = ['limit', 'temperature-rate', 'temperature-swing', 'temperature-drift', 'temperature-forecast'] as const;
const temperature = ['temperature'] as const;
const level = ['level', 'fill', 'volume'] as const;
/** What stands still without mains. */
const withoutMains = [
  'circuit-lost', 'return-pump-stopped', 'heater-not-heating', 'chiller-without-cooling', 'top-off-missing', 'silent-gateway', 'silent-point', 'voltage-out-of-range',
] as const;

/** In order of preference: what several lines explain goes behind the first of them. */
export const causeLines: readonly CauseLine[] = [
  { cause: 'site-power-lost', explains: withoutMains, scope: 'site' },
  // Tanks cool down, or warm up where a chiller cooled them; the sump of one whose pump stands fills from the display.
  { cause: 'site-power-lost', explains: valueKinds, scope: 'site', of: temperature },
  { cause: 'site-power-lost', explains: ['sump-high', 'sump-low'], scope: 'site' },
  { cause: 'circuit-lost', explains: ['return-pump-stopped', 'heater-not-heating', 'chiller-without-cooling', 'top-off-missing'], scope: 'circuit' },
  { cause: 'silent-gateway', explains: ['silent-point'], scope: 'gateway' },
  // The display loses its heater and its chiller with the flow; what is measured in the sump is not the tank any more.
  { cause: 'return-pump-stopped', explains: valueKinds, scope: 'tank', of: temperature, causeEquipment: ['return-pump'] },
  { cause: 'return-pump-stopped', explains: ['limit'], scope: 'tank', of: level, causeEquipment: ['return-pump'] },
  { cause: 'return-pump-stopped', explains: ['sump-high', 'sump-low', 'top-off-missing', 'chiller-short-cycling', 'sensors-disagree'], scope: 'tank', causeEquipment: ['return-pump'] },
  { cause: 'heater-stuck-on', explains: valueKinds, scope: 'tank', side: 'high', of: temperature },
  { cause: 'heater-stuck-on', explains: ['heater-at-limit'], scope: 'equipment' },
  { cause: 'heater-stuck-on', explains: ['heater-fighting-chiller', 'chiller-losing-capacity'], scope: 'tank' },
  { cause: 'heater-not-heating', explains: valueKinds, scope: 'tank', side: 'low', of: temperature },
  { cause: 'heater-weak', explains: valueKinds, scope: 'tank', side: 'low', of: temperature },
  { cause: 'heater-weak', explains: ['heater-at-limit'], scope: 'equipment' },
  { cause: 'chiller-without-cooling', explains: valueKinds, scope: 'tank', side: 'high', of: temperature },
  { cause: 'top-off-empty', explains: ['top-off-missing', 'sump-low'], scope: 'tank' },
  { cause: 'top-off-missing', explains: ['sump-low'], scope: 'tank' },
];

/** Named above and not built yet: a name goes from here when its kind is there (a test says so). */
export const awaitedKinds: ReadonlySet<string> = new Set([
  'site-power-lost', 'circuit-lost', 'silent-gateway', 'voltage-out-of-range', 'heater-not-heating', 'heater-weak', 'heater-at-limit', 'heater-fighting-chiller',
  'chiller-without-cooling', 'chiller-losing-capacity', 'top-off-missing', 'sump-high', 'sump-low', 'temperature-rate', 'temperature-swing',
  'temperature-drift', 'temperature-forecast', 'sensors-disagree',
]);

export interface PossibleCause {
  readonly cause: Rule;
  /** Lines by which it explains; it does when one of them fits the side on which the consequence is off. */
  readonly sides: readonly (Side | null)[];
}

/** For each rule that could be explained, what could explain it, in order of preference. */
export function possibleCauses(rules: readonly Rule[], lines: readonly CauseLine[] = causeLines): ReadonlyMap<string, readonly PossibleCause[]> {
  // Rules meet only within a site, and a rule that can never judge explains nothing.
  const bySiteAndKind = new Map<string, Rule[]>();
  for (const rule of rules) {
    if (rule.missing !== null) continue;
    const key = `${rule.facts.site.id} ${rule.kind.kind}`;
    const list = bySiteAndKind.get(key);
    if (list === undefined) bySiteAndKind.set(key, [rule]);
    else list.push(rule);
  }
  const found = new Map<string, Map<string, { cause: Rule; sides: (Side | null)[] }>>();
  for (const siteId of new Set(rules.map(({ facts }) => facts.site.id))) {
    for (const line of lines) {
      for (const cause of bySiteAndKind.get(`${siteId} ${line.cause}`) ?? []) {
        if (line.causeEquipment !== undefined && (cause.equipment === null || !line.causeEquipment.includes(cause.equipment.kind))) continue;
        for (const kind of line.explains) {
          for (const rule of bySiteAndKind.get(`${siteId} ${kind}`) ?? []) {
            if (!isWithin(line, cause, rule)) continue;
            const causes = found.get(rule.id) ?? new Map<string, { cause: Rule; sides: (Side | null)[] }>();
            const known = causes.get(cause.id);
            if (known === undefined) causes.set(cause.id, { cause, sides: [line.side ?? null] });
            else known.sides.push(line.side ?? null);
            found.set(rule.id, causes);
          }
        }
      }
    }
  }
  return new Map([...found].map(([ruleId, causes]) => [ruleId, [...causes.values()]]));
}

function isWithin(line: CauseLine, cause: Rule, rule: Rule): boolean {
  if (line.of !== undefined) {
    const kinds: readonly Kind[] = line.of;
    const value = rule.roles.get('value');
    // Neither the room nor the reservoir is the tank's water.
    if (value === undefined || !kinds.includes(value.kind) || value.place === 'room' || value.place === 'reservoir') return false;
  }
  switch (line.scope) {
    case 'site':
      return true;
    case 'tank':
      return cause.facts.tank.id === rule.facts.tank.id;
    case 'equipment':
      return cause.equipment !== null && cause.equipment.id === rule.equipment?.id;
    case 'circuit':
      return rule.equipment?.circuit != null && circuitsOf(cause).has(rule.equipment.circuit);
    case 'gateway':
      return isBehindGateway(cause, rule);
  }
}

/** Circuits that a rule speaks of: that of its equipment, and those of the equipment whose points it reads. */
function circuitsOf(rule: Rule): ReadonlySet<string> {
  const read = new Set([...rule.roles.values()].map(({ equipmentId }) => equipmentId));
  const spokenOf: readonly Equipment[] = rule.equipment === null ? rule.facts.equipment.filter(({ id }) => read.has(id)) : [rule.equipment];
  return new Set(spokenOf.flatMap(({ circuit }) => circuit ?? []));
}

/** Every point of the consequence is one that the cause reads itself, or comes by the same gateway as those. */
function isBehindGateway(cause: Rule, rule: Rule): boolean {
  const points = [...rule.roles.values()];
  const read = new Set([...cause.roles.values()].map(({ id }) => id));
  const gateways = new Set([...cause.roles.values()].flatMap((point) => gatewayOf(point) ?? []));
  return points.length > 0 && points.every((point) => read.has(point.id) || gateways.has(gatewayOf(point) ?? ''));
}

/** Group and node of a Sparkplug gateway, whichever device of it measures; otherwise the topic without its last level, which is where one device's values meet. */
export function gatewayOf({ source }: Pick<Point, 'source'>): string | null {
  if (source === null) return null;
  if (source.format === 'sparkplug') return source.topic.split('/').slice(0, 3).join('/');
  const cut = source.topic.lastIndexOf('/');
  return cut <= 0 ? null : source.topic.slice(0, cut);
}
