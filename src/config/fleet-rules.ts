/** What the fleet file says about rules: the kind, what it is about, and its settings. */
import { checkRuleSetting } from '../rules/compile.ts';
import type { RuleKind, TankFacts } from '../rules/contract.ts';
import { converter } from '../domain/units.ts';
import type { RuleSetting } from '../domain/fleet.ts';
import type { Kind } from '../domain/kinds.ts';
import { checkedOptions } from './fleet-points.ts';
import type { FleetReadingState } from './fleet-reading.ts';
import { fleetShapes } from './fleet-shapes.ts';
import { nearest, suggest } from './nearest.ts';
import type { Path } from './yaml-document.ts';

export interface RuleOwner {
  readonly tankId: string;
  /** Points and equipment of the tank and points of its site: id in the file → id in the fleet, and the kind of a point. */
  readonly subjects: ReadonlyMap<string, { readonly id: string; readonly kind: Kind | null }>;
}

/** One `rules:` entry. @returns `null` when it has mistakes (noted). */
export function readRule(state: FleetReadingState, owner: RuleOwner, value: unknown, path: Path): RuleSetting | null {
  const { findings } = state;
  const parsed = findings.shape(fleetShapes.rule, path, value);
  if (parsed === null) return null;
  const { kind: kindName, subject, enabled, priority, onDelay, offDelay, ...rest } = parsed;
  const found = subject === undefined ? null : findSubject(owner, subject);
  if (subject !== undefined && found === null) {
    const known = [...owner.subjects.keys()];
    findings.at([...path, 'subject'], `tank "${owner.tankId}" has no point or equipment "${subject}"`, known.length === 0 ? 'add it to the "points" or "equipment" of the tank first' : subjectFix(subject, known));
  }
  const kind = state.kinds.get(kindName);
  if (kind === undefined) {
    findings.at([...path, 'kind'], `"${kindName}" is no kind of rule`, suggest(kindName, [...state.kinds.keys()]));
    return null;
  }
  const settings = checkedOptions(state, kind.settings, path, inCanonicalUnits(rest, kind, found?.kind ?? null), `rule kind "${kindName}"`, ruleKeys);
  if (settings === null || (subject !== undefined && found === null)) return null;
  return {
    tankId: owner.tankId,
    kind: kindName,
    subject: found?.id ?? null,
    enabled: enabled ?? true,
    priority: priority ?? null,
    onDelayMs: onDelay ?? null,
    offDelayMs: offDelay ?? null,
    // As written, without the defaults of the kind: the defaults by kind of water and equipment go between the two.
    settings: settings.written,
  };
}

const ruleKeys = Object.keys(fleetShapes.rule.shape);

function subjectFix(subject: string, known: readonly string[]): string {
  const guess = nearest(subject, known);
  return guess === null ? `write the id of one of its points or pieces of equipment: ${known.join(', ')}` : suggest(subject, known);
}

/** `heater-1`, or in full `lobby-reef/heater-1`. */
function findSubject(owner: RuleOwner, written: string): { readonly id: string; readonly kind: Kind | null } | null {
  return owner.subjects.get(written) ?? [...owner.subjects.values()].find(({ id }) => id === written) ?? null;
}

/**
 * `high: 81.5 °F` on a temperature becomes 27.5. Only where the kind wants a number: "10m" is a duration to one setting and a length to another.
 */
function inCanonicalUnits(settings: Readonly<Record<string, unknown>>, rule: RuleKind, pointKind: Kind | null): Readonly<Record<string, unknown>> {
  if (pointKind === null) return settings;
  return Object.fromEntries(
    Object.entries(settings).map(([key, written]) => {
      const [, amount, unit] = typeof written === 'string' ? (/^([-+]?\d+(?:\.\d+)?)\s*(\D.*)$/.exec(written.trim()) ?? []) : [];
      const convert = amount === undefined || unit === undefined ? null : converter(pointKind, unit.trim());
      if (convert === null) return [key, written];
      // 0.9 °F of deadband are 0.5 K, without the 32 that belong to a temperature.
      const value = Number((convert(Number(amount)) - (isDifference(key) ? convert(0) : 0)).toPrecision(12));
      const accepts = (candidate: unknown): boolean => rule.settings.safeParse({ [key]: candidate }).error?.issues.some(({ path }) => path[0] === key) !== true;
      return [key, !accepts(written) && accepts(value) ? value : written];
    }),
  );
}

const isDifference = (setting: string): boolean => /band|tolerance/i.test(setting);

/**
 * Asks the rule kinds themselves whether a setting can be carried out on its tank, with everything that is installed there.
 * Only for a tank that was read without mistakes: what is missing because of one would be complained about twice.
 */
export function checkAgainstTank(state: FleetReadingState, setting: RuleSetting, facts: TankFacts, path: Path): void {
  for (const { key, message } of checkRuleSetting(state.kinds, setting, facts)) {
    const [what, ...fix] = message.split('; ');
    state.findings.at(key === null ? path : [...path, key], what ?? message, fix.length === 0 ? 'change it, or remove the entry: the rule then does as its kind does by itself' : fix.join('; '));
  }
}
