/**
 * Whether it is likely that somebody works on a tank of which everything stands.
 *
 * Problem: on a visit pumps, skimmer and heaters are off for up to an hour (common practice), and to the meters that is a strip that has tripped. Nobody wants to be paged about a tank
 * that he stands in front of, and nobody wants to lose one to a strip.
 * Method: hands come by day. Between 07:00 and 21:00 where the tank stands, equipment that is off all together is given the time a visit takes; at night it is not. One piece that stands
 * while others run is no visit, at any hour.
 */
import { z } from 'zod';
import { HOUR } from '../domain/duration.ts';
import type { Site } from '../domain/fleet.ts';
import { minuteOfDay } from '../domain/local-time.ts';
import { duration } from './settings.ts';

const FIRST_HOUR = 7;
const LAST_HOUR = 21;

/** Setting of the kinds that give a visit its time. */
export const visitLasts: z.ZodDefault<z.ZodType<number>> = duration(0, 4 * HOUR)
  .default(HOUR)
  .describe('By day (07:00 to 21:00) everything of the tank may be off for so long before it counts, since somebody may be working on it, such as 45m. Default 1 h; 0m: no time for visits.');

export function handsAreLikely({ timeZone }: Pick<Site, 'timeZone'>, nowMs: number): boolean {
  const minute = minuteOfDay(timeZone, nowMs);
  return minute >= FIRST_HOUR * 60 && minute < LAST_HOUR * 60;
}
