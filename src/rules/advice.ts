/** What to look at first when a rule has rung, in order. */
import type { Rule } from './contract.ts';

export function firstChecksOf(rule: Rule): readonly string[] {
  return rule.kind.firstChecks({ settings: rule.settings, tank: rule.facts.tank, site: rule.facts.site, equipment: rule.equipment });
}
