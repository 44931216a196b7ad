/** A small invented fleet to hang rules on: one site, one tank, and whatever a test installs. */
import type { Equipment, EquipmentKind, Fleet, Point, RuleSetting, Site, Tank } from '../../src/domain/fleet.ts';
import type { Kind } from '../../src/domain/kinds.ts';
import { compileRules } from '../../src/rules/compile.ts';
import type { Rule, RuleKind } from '../../src/rules/contract.ts';

export const site: Site = {
  id: 'harbor-lobby', clientId: 'harbor', name: 'Harbor lobby (invented)', timeZone: 'America/Denver', address: null,
  contacts: [{ name: 'Front desk', phone: '+1 555 0100' }], access: null, breaker: 'Panel B, breaker 14', waterShutOff: null, topics: 'harbor-lobby/', account: null, httpTokenEnv: null,
};

export const reef: Tank = { id: 'reef', siteId: site.id, name: 'Lobby reef (invented)', water: 'reef', displayLitres: 900, sumpLitres: 235.6 };

export function equipment(kind: EquipmentKind, name: string, facts: Partial<Equipment> = {}): Equipment {
  return { id: `reef/${name}`, tankId: 'reef', kind, name, nameplateWatts: null, setpointC: null, bandK: null, capacityLitres: null, fullMm: null, circuit: null, ...facts };
}

export function point(kind: Kind, name: string, facts: Partial<Point> = {}): Point {
  return {
    id: `reef/${name}`, siteId: site.id, tankId: 'reef', equipmentId: null, name, kind, place: 'display', unit: null,
    everyMs: 30_000, silentAfterMs: 600_000, keepMs: null, source: { topic: `harbor-lobby/${name}`, format: 'number', options: {} }, ...facts,
  };
}

export function setting(kind: string, subject: string | null, settings: Record<string, unknown> = {}, facts: Partial<RuleSetting> = {}): RuleSetting {
  return { tankId: 'reef', kind, subject, enabled: true, priority: null, onDelayMs: null, offDelayMs: null, settings, ...facts };
}

export function fleet(installed: { equipment?: readonly Equipment[]; points?: readonly Point[]; ruleSettings?: readonly RuleSetting[]; tanks?: readonly Tank[] }): Fleet {
  return {
    clients: [{ id: 'harbor', name: 'Harbor (invented)' }],
    sites: [site],
    tanks: installed.tanks ?? [reef],
    equipment: installed.equipment ?? [],
    points: installed.points ?? [],
    ruleSettings: installed.ruleSettings ?? [],
    people: [],
    onCall: { steps: [], repeatAfterMs: null },
  };
}

/** The rule with this id suffix, compiled with one kind only. */
export function ruleOf(kind: RuleKind, subject: string, installed: Parameters<typeof fleet>[0]): Rule {
  const rule = compileRules(fleet(installed), new Map([[kind.kind, kind]])).find(({ id }) => id === `reef/${kind.kind}/${subject}`);
  if (rule === undefined) throw new Error(`no rule ${kind.kind} on ${subject}`);
  return rule;
}
