/**
 * Which alarms explain which: one line per pair of kinds, roots first. What is explained is suppressed behind its cause (`src/alarms/lifecycle.ts`);
 * how long it waits for one, and which of several counts, is decided in `src/engine/causes.ts`.
 *
 * A line claims that the consequence *follows* from the cause, by physics or wiring, within hours. Where it only often comes along, it has no place here:
 * an alarm that is suppressed wrongly is worse than one page too many. So nothing explains water on the floor, nor a float for high water, nor a
 * heater that is stuck on. A kind must not explain itself, and no chain of lines may come back to where it began (`tests/rules/causes.test.ts`).
 */
import type { Equipment, EquipmentKind, Point } from '../domain/fleet.ts';
import type { Kind } from '../domain/kinds.ts';
import type { Side } from '../domain/verdict.ts';
import type { Rule } from './contract.ts';

/**
 * Where a consequence must be to be explained. `equipment`: about the same piece. `circuit`: its equipment hangs on a circuit of the cause's.
 * `gateway`: all of its points come by the gateway of the cause. `point`: it reads the point that the cause is about. `tank` and `site`: the same one.
 */
export type Scope = 'equipment' | 'circuit' | 'gateway' | 'point' | 'tank' | 'site';

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
  /** Only where one of these of the tank hangs on the circuit that the cause is about. */
  readonly onCircuit?: readonly EquipmentKind[];
}

/** Kinds that speak of the water's temperature, beside `limit`. */
const temperatures = ['temperature-rate', 'temperature-forecast', 'temperature-swing', 'temperature-drift'] as const;
const salinities = ['salinity-step', 'salinity-rate', 'salinity-limit', 'salinity-drift'] as const;
const temperature = ['temperature'] as const;
const level = ['level', 'fill', 'volume'] as const;
/** What display and sump no longer share when no water moves between them: heat, and with it whatever is told from the temperature of one of them. */
const withoutFlow = [...temperatures, 'heater-not-heating', 'heater-weak', 'heater-at-limit', 'chiller-not-cooling', 'chiller-short-cycling', 'chiller-losing-capacity', 'sensors-disagree'] as const;

/** In order of preference: what several lines explain goes behind the first of them. */
export const causeLines: readonly CauseLine[] = [
  {
    cause: 'site-power-lost', scope: 'site',
    explains: ['circuit-lost', 'return-pump-stopped', 'pump-restarting', 'top-off-failed', 'silent-gateway', 'silent-point', 'voltage-out-of-range', ...withoutFlow],
  },
  // Tanks cool down, or warm up where a chiller cooled them.
  { cause: 'site-power-lost', explains: ['limit'], scope: 'site', of: temperature },
  { cause: 'circuit-lost', explains: ['return-pump-stopped', 'pump-restarting', 'heater-not-heating', 'top-off-failed', 'silent-point'], scope: 'circuit' },
  { cause: 'circuit-lost', explains: withoutFlow, scope: 'tank', onCircuit: ['return-pump'] },
  { cause: 'circuit-lost', explains: ['limit'], scope: 'tank', of: temperature, onCircuit: ['return-pump', 'heater', 'chiller'] },
  { cause: 'circuit-lost', explains: temperatures, scope: 'tank', onCircuit: ['heater', 'chiller'] },
  { cause: 'silent-gateway', explains: ['silent-point'], scope: 'gateway' },
  // A sensor that lies: what is told from its readings follows.
  { cause: 'frozen-value', explains: ['sensors-disagree', ...temperatures, 'heater-not-heating', 'heater-weak', 'heater-at-limit', 'chiller-not-cooling', 'top-off-failed', 'top-off-consumption', ...salinities], scope: 'point' },
  // Heaters and pumps draw, and chillers move, less or more with the voltage.
  { cause: 'voltage-out-of-range', explains: ['heater-weak', 'heater-at-limit', 'pump-draw-shifted', 'chiller-losing-capacity'], scope: 'site' },
  // The display loses its heater and its chiller with the flow; what they warm or cool is the sump by itself.
  { cause: 'return-pump-stopped', explains: ['limit'], scope: 'tank', of: temperature, causeEquipment: ['return-pump'] },
  { cause: 'return-pump-stopped', explains: ['limit'], scope: 'tank', of: level, side: 'low', causeEquipment: ['return-pump'] },
  { cause: 'return-pump-stopped', explains: ['sump-low', 'top-off-failed', ...withoutFlow], scope: 'tank', causeEquipment: ['return-pump'] },
  // One that turns in air or is clogged lets the display drain down as one that stands does. A float that has closed is another matter: it has no side.
  { cause: 'pump-draw-shifted', explains: ['sump-high'], scope: 'tank', side: 'high', causeEquipment: ['return-pump'] },
  { cause: 'pump-draw-shifted', explains: withoutFlow, scope: 'tank', causeEquipment: ['return-pump'] },
  { cause: 'pump-draw-shifted', explains: ['limit'], scope: 'tank', of: temperature, causeEquipment: ['return-pump'] },
  { cause: 'pump-draw-shifted', explains: ['return-pump-stopped'], scope: 'equipment' },
  // Until somebody has measured which of two thermometers is right, neither tells what heaters do; a limit that is passed is told all the same.
  { cause: 'sensors-disagree', explains: [...temperatures, 'heater-not-heating', 'heater-weak', 'heater-at-limit', 'chiller-not-cooling', 'chiller-losing-capacity', 'salinity-step', 'salinity-rate'], scope: 'tank' },
  { cause: 'heater-stuck-on', explains: ['limit'], scope: 'tank', side: 'high', of: temperature },
  // Warmer water evaporates faster.
  { cause: 'heater-stuck-on', explains: [...temperatures, 'top-off-consumption'], scope: 'tank', side: 'high' },
  { cause: 'heater-stuck-on', explains: ['heater-chiller-fighting', 'chiller-losing-capacity'], scope: 'tank' },
  { cause: 'heater-not-heating', explains: ['limit'], scope: 'tank', side: 'low', of: temperature },
  { cause: 'heater-not-heating', explains: temperatures, scope: 'tank', side: 'low' },
  // The other heater of the tank runs without a pause.
  { cause: 'heater-not-heating', explains: ['heater-at-limit'], scope: 'tank' },
  { cause: 'heater-weak', explains: ['heater-at-limit'], scope: 'tank' },
  { cause: 'heater-weak', explains: ['limit'], scope: 'tank', side: 'low', of: temperature },
  { cause: 'heater-weak', explains: temperatures, scope: 'tank', side: 'low' },
  { cause: 'heater-at-limit', explains: ['limit'], scope: 'tank', side: 'low', of: temperature },
  { cause: 'heater-at-limit', explains: temperatures, scope: 'tank', side: 'low' },
  { cause: 'chiller-not-cooling', explains: ['limit'], scope: 'tank', side: 'high', of: temperature },
  { cause: 'chiller-not-cooling', explains: [...temperatures, 'top-off-consumption'], scope: 'tank', side: 'high' },
  { cause: 'chiller-not-cooling', explains: ['chiller-losing-capacity'], scope: 'equipment' },
  // Whoever was told when the limit will be passed was told that it will be.
  { cause: 'temperature-forecast', explains: ['limit'], scope: 'tank', side: 'high', of: temperature },
  { cause: 'temperature-forecast', explains: ['limit'], scope: 'tank', side: 'low', of: temperature },
  { cause: 'top-off-stuck-on', explains: ['sump-high'], scope: 'tank', side: 'high' },
  { cause: 'top-off-stuck-on', explains: ['top-off-empty', 'top-off-low', 'top-off-consumption'], scope: 'tank' },
  { cause: 'top-off-stuck-on', explains: salinities, scope: 'tank', side: 'low' },
  // Water on the floor has come from somewhere.
  { cause: 'leak-wet', explains: ['leak', 'sump-low', 'top-off-consumption', 'top-off-low', 'top-off-empty'], scope: 'tank' },
  { cause: 'leak-wet', explains: salinities, scope: 'tank', side: 'low' },
  { cause: 'leak', explains: ['sump-low', 'top-off-consumption', 'top-off-low', 'top-off-empty'], scope: 'tank' },
  { cause: 'leak', explains: salinities, scope: 'tank', side: 'low' },
  // What flows out is made up with fresh water.
  { cause: 'top-off-consumption', explains: ['top-off-low', 'top-off-empty'], scope: 'tank' },
  { cause: 'top-off-consumption', explains: salinities, scope: 'tank', side: 'low' },
  { cause: 'top-off-empty', explains: ['top-off-failed', 'sump-low', 'top-off-low'], scope: 'tank' },
  { cause: 'top-off-empty', explains: salinities, scope: 'tank', side: 'high' },
  { cause: 'top-off-failed', explains: ['sump-low'], scope: 'tank' },
  { cause: 'top-off-failed', explains: salinities, scope: 'tank', side: 'high' },
  { cause: 'salinity-step', explains: ['salinity-limit', 'salinity-rate', 'salinity-drift'], scope: 'tank', side: 'low' },
  { cause: 'salinity-step', explains: ['salinity-limit', 'salinity-rate', 'salinity-drift'], scope: 'tank', side: 'high' },
];

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
        if (line.onCircuit !== undefined && !hangsOnCircuit(cause, line.onCircuit)) continue;
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
    case 'point':
      return [...rule.roles.values()].some(({ id }) => id === cause.subject);
    case 'circuit':
      return isOnCircuit(cause, rule);
    case 'gateway':
      return isBehindGateway(cause, rule);
  }
}

function hangsOnCircuit({ equipment, facts }: Rule, kinds: readonly EquipmentKind[]): boolean {
  const circuit = equipment === null ? null : stripOf(equipment);
  return circuit !== null && facts.equipment.some((one) => one.tankId === facts.tank.id && kinds.includes(one.kind) && stripOf(one) === circuit);
}

/** All equipment that the consequence speaks of hangs on the circuit of the cause's equipment. */
function isOnCircuit(cause: Rule, rule: Rule): boolean {
  const circuit = cause.equipment === null ? null : stripOf(cause.equipment);
  const spokenOf = equipmentOf(rule);
  return circuit !== null && spokenOf.length > 0 && spokenOf.every((one) => stripOf(one) === circuit);
}

function equipmentOf(rule: Rule): readonly Equipment[] {
  if (rule.equipment !== null) return [rule.equipment];
  const measured = new Set([...rule.roles.values()].map(({ equipmentId }) => equipmentId));
  return rule.facts.equipment.filter(({ id }) => measured.has(id));
}

/** `Strip A, outlet 2` hangs on Strip A. */
function stripOf({ circuit }: Equipment): string | null {
  return circuit?.replace(/[,;]?\s*(outlet|socket|plug|port)\s*\S*\s*$/i, '').trim() || circuit;
}

/** Where the kind says itself for which points it speaks, that is asked when it matters (`speaksFor`). */
function isBehindGateway(cause: Rule, rule: Rule): boolean {
  const points = [...rule.roles.values()];
  if (points.length === 0 || cause.kind.speaksFor !== undefined) return points.length > 0;
  const gateways = new Set([...cause.roles.values()].map(gatewayOf));
  const [gateway = null] = gateways;
  // One that reads points of several cannot mean all of them.
  return gateways.size === 1 && gateway !== null && points.every((point) => gatewayOf(point) === gateway);
}

/** Does an alarm of the cause, in this state, speak for the points of the consequence? Only kinds that read points of several gateways need to say. */
export function speaksFor(cause: Rule, state: unknown, rule: Rule): boolean {
  const { kind } = cause;
  return kind.speaksFor === undefined || [...rule.roles.values()].every((point) => kind.speaksFor?.(state, point) === true);
}

/** Group and node of a Sparkplug gateway, whichever device of it measures; otherwise the topic without its last level, which is where one device's values meet. */
export function gatewayOf({ source }: Pick<Point, 'source'>): string | null {
  if (source === null) return null;
  if (source.format === 'sparkplug') return source.topic.split('/').slice(0, 3).join('/');
  const cut = source.topic.lastIndexOf('/');
  return cut <= 0 ? null : source.topic.slice(0, cut);
}
