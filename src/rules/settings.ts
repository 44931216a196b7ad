/** Pieces of settings schemas that several kinds share. `.describe()` comes last in every chain: zod keeps the sentence of the last schema only. */
import { z } from 'zod';
import { parseDuration } from '../domain/duration.ts';

/** A duration as people write it (`10m`), read into milliseconds. A bare number is refused: of what? */
export function duration(minMs: number, maxMs: number) {
  return z.string({ error: 'write a duration with its unit, such as 10m or 1h30m' }).transform((text, check) => {
    const ms = parseDuration(text);
    if (ms !== null && ms >= minMs && ms <= maxMs) return ms;
    check.addIssue({
      code: 'custom',
      message: ms === null ? `“${text}” is no duration; write for example 10m or 1h30m` : `“${text}” is outside of ${minMs / 60_000} to ${maxMs / 60_000} minutes`,
    });
    return z.NEVER;
  });
}

/** Volts by which a current is taken for power where the site has no voltage point. */
export const supplyVolts = z.number().min(80).max(260).default(120)
  .describe('Supply voltage in V by which a current in A is taken for power; used only where the site has no voltage point. Default 120.');
