/**
 * From the fleet to the rules that run: what every kind proposes for every tank, changed by what the fleet file says.
 * One truth for both sides: `checkRuleSetting` (for the fleet file, with line and column there) and `compileRules` (to run)
 * go through the same `resolve`.
 */
import { z } from 'zod';
import type { Fleet, Point, RuleSetting, Tank } from '../domain/fleet.ts';
import type { Proposal, Rule, RuleKind, TankFacts } from './contract.ts';
import { findSubject, lastPart, pointById, subjectsOf } from './subject.ts';

export type RuleKinds = ReadonlyMap<string, RuleKind>;

/** A rule setting of the fleet file that cannot be carried out. */
export interface RuleProblem {
  readonly tankId: string;
  readonly kind: string;
  /** As written. */
  readonly subject: string | null;
  /** The key to point at (`kind`, `subject` or a setting); `null`: the entry as a whole. */
  readonly key: string | null;
  /** What is wrong and what to write instead. */
  readonly message: string;
}

/**
 * The rules of a fleet whose settings have been checked, in the order of tanks and kinds; their ids are unique.
 * @throws RuleSettingsError when a setting cannot be carried out: `checkRuleSettings` should have been asked first.
 */
export function compileRules(fleet: Fleet, kinds: RuleKinds): readonly Rule[] {
  const compiled = compileTanks(fleet, kinds);
  const problems = compiled.flatMap((tank) => tank.problems);
  if (problems.length > 0) throw new RuleSettingsError(problems);
  return onceForSitePoints(compiled);
}

/** Every rule setting of the fleet that cannot be carried out; empty when all can. */
export function checkRuleSettings(fleet: Fleet, kinds: RuleKinds): readonly RuleProblem[] {
  return compileTanks(fleet, kinds).flatMap(({ problems }) => problems);
}

/** The same for one setting by itself (two settings for one rule are only seen by `checkRuleSettings`). */
export function checkRuleSetting(kinds: RuleKinds, setting: RuleSetting, facts: TankFacts): readonly RuleProblem[] {
  const resolved = resolve(kinds, setting, facts);
  return 'problems' in resolved ? resolved.problems : [];
}

/** A tank with its site, its equipment, and the points of both. */
export function factsOf(fleet: Fleet, tankId: string): TankFacts {
  const facts = factsOfTanks(fleet, fleet.tanks.filter(({ id }) => id === tankId))[0];
  if (facts === undefined) throw new Error(`the tank ${tankId} is not in the fleet`);
  return facts;
}

/** In one pass over the fleet, which may be large. */
function factsOfTanks(fleet: Fleet, tanks: readonly Tank[]): readonly TankFacts[] {
  const sites = new Map(fleet.sites.map((site) => [site.id, site]));
  const equipment = grouped(fleet.equipment, ({ tankId }) => tankId);
  const ownPoints = grouped(fleet.points, ({ tankId }) => tankId);
  const sitePoints = grouped(ownPoints.get(null) ?? [], ({ siteId }) => siteId);
  const siteTanks = grouped(fleet.tanks, ({ siteId }) => siteId);
  return tanks.map((tank) => {
    const site = sites.get(tank.siteId);
    if (site === undefined) throw new Error(`the site of ${tank.id} is not in the fleet`);
    const others = (siteTanks.get(site.id) ?? []).filter(({ id }) => id !== tank.id);
    return {
      tank, site, equipment: equipment.get(tank.id) ?? [], points: [...(ownPoints.get(tank.id) ?? []), ...(sitePoints.get(site.id) ?? [])],
      neighbours: { equipment: others.flatMap(({ id }) => equipment.get(id) ?? []), points: others.flatMap(({ id }) => ownPoints.get(id) ?? []) },
    };
  });
}

export class RuleSettingsError extends Error {
  override readonly name = 'RuleSettingsError';
  readonly problems: readonly RuleProblem[];
  constructor(problems: readonly RuleProblem[]) {
    super(problems.map(({ tankId, kind, subject, message }) => `${tankId}, rule ${kind}${subject === null ? '' : ` on ${subject}`}: ${message}`).join('\n'));
    this.problems = problems;
  }
}

/** A setting tied to the rule it changes or adds. */
interface Resolved {
  readonly kind: RuleKind;
  readonly proposal: Proposal;
  readonly setting: RuleSetting;
  /** Merged over the proposal's defaults and read by the kind. */
  readonly settings: unknown;
}

interface CompiledTank {
  readonly rules: readonly Rule[];
  /** By rule id: what the fleet file says, including what it switches off. */
  readonly changes: ReadonlyMap<string, Resolved>;
  readonly problems: readonly RuleProblem[];
}

function compileTanks(fleet: Fleet, kinds: RuleKinds): readonly CompiledTank[] {
  const settings = grouped(fleet.ruleSettings, ({ tankId }) => tankId);
  return factsOfTanks(fleet, fleet.tanks).map((facts) => compileTank(facts, kinds, settings.get(facts.tank.id) ?? []));
}

function compileTank(facts: TankFacts, kinds: RuleKinds, settings: readonly RuleSetting[]): CompiledTank {
  const problems: RuleProblem[] = [];
  const changes = new Map<string, Resolved>();
  for (const setting of settings) {
    const resolved = resolve(kinds, setting, facts);
    if ('problems' in resolved) {
      problems.push(...resolved.problems);
      continue;
    }
    const id = ruleId(facts, resolved.kind, resolved.proposal);
    if (changes.has(id)) problems.push(problem(setting, null, `the rule ${id} is set twice; keep one entry with all of its settings`));
    else changes.set(id, resolved);
  }
  const rules = new Map<string, Rule>();
  for (const kind of kinds.values()) {
    for (const proposal of kind.apply(facts)) {
      const id = ruleId(facts, kind, proposal);
      if (rules.has(id)) throw new Error(`rule kind ${kind.kind} proposes ${id} twice`);
      const change = changes.get(id);
      const rule = bind(id, facts, kind, proposal, change);
      if (change?.setting.enabled !== false) rules.set(id, rule);
    }
  }
  for (const [id, added] of changes) {
    if (!rules.has(id) && added.setting.enabled) rules.set(id, bind(id, facts, added.kind, added.proposal, added));
  }
  return { rules: [...rules.values()], changes, problems };
}

/** Finds the rule a setting is about and reads its settings, or says why not. */
function resolve(kinds: RuleKinds, setting: RuleSetting, facts: TankFacts): Resolved | { readonly problems: readonly RuleProblem[] } {
  const kind = kinds.get(setting.kind);
  if (kind === undefined) return refuse(setting, 'kind', `there is no rule kind “${setting.kind}”; write one of: ${[...kinds.keys()].join(', ')}`);
  const found = findProposal(kind, setting, facts);
  if (typeof found === 'string') return refuse(setting, 'subject', found);
  const own = setting.settings ?? {};
  if (typeof own !== 'object' || Array.isArray(own)) return refuse(setting, null, 'the settings must be keys with values');
  const parsed = kind.settings.safeParse({ ...found.defaults, ...own });
  if (!parsed.success) return { problems: parsed.error.issues.map((issue) => settingProblem(kind, setting, issue)) };
  const objection = kind.objection?.(parsed.data, found, facts) ?? null;
  if (objection !== null && setting.enabled) return refuse(setting, objection.key, objection.message);
  return { kind, proposal: found, setting, settings: parsed.data };
}

function findProposal(kind: RuleKind, setting: RuleSetting, facts: TankFacts): Proposal | string {
  const proposals = kind.apply(facts);
  const { subject } = setting;
  if (subject === null) {
    const only = proposals[0];
    if (only !== undefined && proposals.length === 1) return only;
    return proposals.length === 0
      ? `say what ${kind.kind} is to watch: add \`subject:\` with one of: ${namesOf(subjectsOf(facts))}`
      : `${kind.kind} watches several things here; add \`subject:\` with one of: ${namesOf(proposals.map((proposal) => proposal.subject))}`;
  }
  const proposed = proposals.find((proposal) => proposal.subject === subject) ?? proposals.find((proposal) => lastPart(proposal.subject) === subject);
  if (proposed !== undefined) return proposed;
  const known = findSubject(facts, subject);
  if (known === null) return `${facts.tank.id} has no point or equipment “${subject}”; write one of: ${namesOf(subjectsOf(facts))}`;
  if (!setting.enabled) return `${kind.kind} does not watch “${subject}”, so there is nothing to switch off; remove the entry`;
  if (kind.applyTo !== undefined) return kind.applyTo(facts, known);
  return proposals.length === 0
    ? `${kind.kind} cannot watch “${subject}”, nor anything else on ${facts.tank.id}; remove the entry or add the equipment it watches`
    : `${kind.kind} cannot watch “${subject}”; write one of: ${namesOf(proposals.map((proposal) => proposal.subject))}`;
}

const namesOf = (subjects: readonly string[]): string => [...new Set(subjects.map(lastPart))].join(', ') || '(nothing is installed)';

function settingProblem(kind: RuleKind, setting: RuleSetting, issue: z.core.$ZodIssue): RuleProblem {
  const shape: Readonly<Record<string, unknown>> = kind.settings instanceof z.ZodObject ? kind.settings.shape : {};
  if (issue.code === 'unrecognized_keys') {
    const key = issue.keys[0] ?? null;
    const known = Object.keys(shape).join(', ');
    return problem(setting, key, `${kind.kind} has no setting ${issue.keys.map((name) => `“${name}”`).join(', ')}; ${known === '' ? 'it has no settings of its own' : `its settings are: ${known}`}`);
  }
  const key = typeof issue.path[0] === 'string' ? issue.path[0] : null;
  const schema = key === null ? undefined : shape[key];
  const meaning = schema instanceof z.ZodType ? schema.description : undefined;
  return problem(setting, key, `${issue.message}${meaning === undefined ? '' : `. ${key}: ${meaning}`}`);
}

function bind(id: string, facts: TankFacts, kind: RuleKind, proposal: Proposal, change: Resolved | undefined): Rule {
  return {
    id,
    kind,
    title: proposal.title,
    facts,
    subject: proposal.subject,
    roles: new Map(Object.entries(proposal.roles).map(([role, pointId]) => [role, pointOf(facts, pointId)])),
    equipment: proposal.equipment,
    missing: proposal.missing,
    settings: change === undefined ? kind.settings.parse(proposal.defaults) : change.settings,
    policy: {
      priority: change?.setting.priority ?? proposal.policy?.priority ?? kind.policy.priority,
      onDelayMs: change?.setting.onDelayMs ?? proposal.policy?.onDelayMs ?? kind.policy.onDelayMs,
      offDelayMs: change?.setting.offDelayMs ?? proposal.policy?.offDelayMs ?? kind.policy.offDelayMs,
    },
  };
}

/**
 * A rule that applies by itself to a point of the site would ring once per tank there. It runs with the site's first tank only, and
 * with none when the fleet file says something about it anywhere on the site: that entry is then the one that counts.
 */
function onceForSitePoints(tanks: readonly CompiledTank[]): readonly Rule[] {
  const taken = new Set(tanks.flatMap(({ changes }) => [...changes.values()].map(({ kind, proposal }) => `${kind.kind} ${proposal.subject}`)));
  return tanks.flatMap(({ rules, changes }) => rules.filter((rule) => {
    if (changes.has(rule.id) || !rule.subject.startsWith(`${rule.facts.site.id}/`)) return true;
    const key = `${rule.kind.kind} ${rule.subject}`;
    if (taken.has(key)) return false;
    taken.add(key);
    return true;
  }));
}

const ruleId = (facts: TankFacts, kind: RuleKind, proposal: Proposal): string => `${facts.tank.id}/${kind.kind}/${lastPart(proposal.subject)}`;

function pointOf(facts: TankFacts, pointId: string): Point {
  const point = pointById(facts, pointId) ?? facts.neighbours.points.find(({ id }) => id === pointId) ?? null;
  if (point === null) throw new Error(`a rule names the point ${pointId}, which ${facts.tank.id} does not have`);
  return point;
}

const problem = (setting: RuleSetting, key: string | null, message: string): RuleProblem => ({ tankId: setting.tankId, kind: setting.kind, subject: setting.subject, key, message });

const refuse = (setting: RuleSetting, key: string | null, message: string): { readonly problems: readonly RuleProblem[] } => ({ problems: [problem(setting, key, message)] });

function grouped<Item, Key>(items: readonly Item[], keyOf: (item: Item) => Key): Map<Key, Item[]> {
  const groups = new Map<Key, Item[]>();
  for (const item of items) {
    const group = groups.get(keyOf(item));
    if (group === undefined) groups.set(keyOf(item), [item]);
    else group.push(item);
  }
  return groups;
}
