/**
 * Tabular cumulative sum: finds a small shift that lasts, by adding up what lies beyond half of it.
 *
 * Source: Montgomery & Runger, Applied Statistics and Probability for Engineers, Example 16-6. Usual design: slack 0.5 σ (half of the shift of 1 σ to
 * be found), decision at 5 σ.
 */
export interface Cusum {
  /** What has gathered above the target, and below it; both ≥ 0, in the unit of the values. */
  readonly high: number;
  readonly low: number;
}

export const cusumStart: Cusum = { high: 0, low: 0 };

/** @param slack K: deviations up to this add nothing. */
export function cusum({ high, low }: Cusum, value: number, target: number, slack: number): Cusum {
  return { high: Math.max(0, high + value - target - slack), low: Math.max(0, low + target - slack - value) };
}

/** @param decision H. */
export function shifted({ high, low }: Cusum, decision: number): 'up' | 'down' | null {
  if (high > decision || low > decision) return high >= low ? 'up' : 'down';
  return null;
}
