/**
 * A slow quantity by the hour: at most six readings an hour are taken, and their median is kept. What is learnt from it is unmoved by single wild readings,
 * and is written every ten minutes at most.
 */
import { z } from 'zod';
import { HOUR, MINUTE } from '../domain/duration.ts';
import { median } from '../physics/statistics/median.ts';

const SAMPLE_EVERY_MS = 10 * MINUTE;
/** Every ten minutes, an hour holds six; a seventh where one comes early. */
const SAMPLES_KEPT = 6;

export const hourlyState = z.strictObject({
  /** Finished hours, oldest first: hour since 1970, median. */
  hours: z.array(z.tuple([z.number(), z.number()])),
  /** The hour that runs, and the readings taken in it. */
  hour: z.number().nullable(),
  samples: z.array(z.number()).max(SAMPLES_KEPT),
  sampledMs: z.number().nullable(),
});
export type Hourly = z.infer<typeof hourlyState>;

export const noHours: Hourly = { hours: [], hour: null, samples: [], sampledMs: null };

/** @param decimals kept. @param hoursKept hours older than this, and more than this many, are forgotten. @returns the same object when this reading is not taken. */
export function takeHourly(before: Hourly, atMs: number, value: number, decimals: number, hoursKept: number): Hourly {
  if (before.sampledMs !== null && atMs - before.sampledMs < SAMPLE_EVERY_MS) return before;
  const hour = Math.floor(atMs / HOUR);
  const sample = rounded(value, decimals);
  if (hour === before.hour) return { ...before, samples: [...before.samples, sample].slice(-SAMPLES_KEPT), sampledMs: atMs };
  const closed = median(before.samples);
  const started = { ...before, hour, samples: [sample], sampledMs: atMs };
  if (before.hour === null || closed === null) return started;
  const finished: [number, number] = [before.hour, rounded(closed, decimals)];
  const oldest = hour - hoursKept;
  if (before.hour < oldest) return { ...started, hours: [] };
  // What is too old stands in front.
  const fresh = before.hours.findIndex(([at]) => at >= oldest);
  const kept = fresh === -1 ? [] : before.hours.slice(Math.max(fresh, before.hours.length + 1 - hoursKept));
  return { ...started, hours: [...kept, finished] };
}

/** Until then no reading is taken. */
export function nextTakenMs({ sampledMs }: Hourly): number {
  return sampledMs === null ? Number.NEGATIVE_INFINITY : sampledMs + SAMPLE_EVERY_MS;
}

const rounded = (value: number, decimals: number): number => Number(value.toFixed(decimals));
