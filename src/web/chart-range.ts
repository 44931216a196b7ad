/** The time spans a page of charts offers. */
import { z } from 'zod';
import { DAY, HOUR } from '../domain/duration.ts';
import type { Span } from './series.ts';

export const ranges = { '1h': HOUR, '6h': 6 * HOUR, '1d': DAY, '7d': 7 * DAY, '30d': 30 * DAY, '1y': 365 * DAY } as const;
export type Range = keyof typeof ranges;
export const rangeNames = Object.keys(ranges) as readonly Range[];

export const rangeQuery = z.object({
  range: z.enum(['1h', '6h', '1d', '7d', '30d', '1y']).catch('1d'),
  /** End of the span; left out: now. */
  until: z.coerce.number().int().min(0).max(8.64e15).optional().catch(undefined),
});

export interface ChosenSpan extends Span {
  readonly range: Range;
  readonly followsNow: boolean;
}

export function chosenSpan(query: unknown, nowMs: number): ChosenSpan {
  const { range, until } = rangeQuery.parse(query);
  const followsNow = until === undefined || until >= nowMs;
  const toMs = followsNow ? nowMs : until;
  return { range, followsNow, toMs, fromMs: toMs - ranges[range] };
}
