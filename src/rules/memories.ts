/** Stored shapes of what `src/physics/` remembers. A memory that does not fit (an older version's) starts afresh. */
import { z } from 'zod';

const numbers = (most: number) => z.array(z.number()).max(most).readonly();

const lengths = z.strictObject({ lastMin: numbers(64), usualMin: numbers(64), takenMs: z.number().nullable() });

/** Of `src/physics/equipment/`. */
export const equipmentMemory = z.strictObject({
  sinceMs: z.number().nullable(),
  last: z.strictObject({ atMs: z.number(), on: z.boolean() }).nullable(),
  switchedMs: z.number().nullable(),
  runs: lengths,
  rests: lengths,
  startsMs: numbers(64),
  hour: z.strictObject({ fromMs: z.number(), watts: numbers(64), count: z.number(), healthy: z.boolean() }).nullable(),
  draws: numbers(96),
  taken: z.number(),
  recentWatts: z.number().nullable(),
  sums: z.strictObject({ high: z.number(), low: z.number() }),
  dutiesPercent: numbers(64),
  day: z.strictObject({ fromMs: z.number(), onMs: z.number(), seenMs: z.number() }).nullable(),
});

/** Of `src/physics/stretches.ts`. */
export const stretchesMemory = z.strictObject({
  bins: z.array(z.tuple([z.number(), z.number(), z.number()]).readonly()).max(240).readonly(),
  open: z.strictObject({ hour: z.number(), values: numbers(48), disturbed: z.boolean() }).nullable(),
});
