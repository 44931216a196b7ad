/** Limits of a point as drawn and printed: those of every limit rule that watches it. */
import { z } from 'zod';
import type { Rule } from '../rules/contract.ts';

export interface Limits {
  readonly low: number | null;
  readonly high: number | null;
}


/** The settings of kind `limit` that a screen shows; canonical unit. */
const limitSettings = z.object({ low: z.number().nullish(), high: z.number().nullish() });

/** The narrowest limits over all limit rules of the point. */
export function limitsOf(pointId: string, rules: readonly Rule[]): Limits {
  let low: number | null = null;
  let high: number | null = null;
  for (const rule of rules) {
    if (rule.kind.kind !== 'limit' || !involves(rule, pointId)) continue;
    const settings = limitSettings.safeParse(rule.settings);
    if (!settings.success) continue;
    if (typeof settings.data.low === 'number') low = low === null ? settings.data.low : Math.max(low, settings.data.low);
    if (typeof settings.data.high === 'number') high = high === null ? settings.data.high : Math.min(high, settings.data.high);
  }
  return { low, high };
}

export function involves(rule: Rule, pointId: string): boolean {
  for (const point of rule.roles.values()) if (point.id === pointId) return true;
  return false;
}
