/** When to try again: soon at first, then ever slower, and not for ever. */
import { DAY, MINUTE, SECOND } from '../domain/duration.ts';

const PAGE_STEPS_MS = [10 * SECOND, 30 * SECOND, MINUTE, 2 * MINUTE, 5 * MINUTE, 10 * MINUTE, 15 * MINUTE];
/** A server that is down costs little to ask, and everybody's pages wait for it: every 2 min for half an hour, then every 5. */
const CHANNEL_STEPS_MS = [10 * SECOND, 30 * SECOND, MINUTE, ...Array<number>(15).fill(2 * MINUTE), 5 * MINUTE];
/** Wrong settings: a person has to act, and accounts get locked by hammering. */
const SLOW_STEPS_MS = [MINUTE, 5 * MINUTE, 15 * MINUTE];

/** The longest of all. */
export const MAX_DELAY_MS = 15 * MINUTE;

/** A page that the server has put off again and again for this long is given up: whoever it was for has to be told otherwise. */
export const GIVE_UP_AFTER_MS = DAY;

/** @param failures how often it has failed, this time included: 1, 2, … */
export function pageDelayMs(failures: number): number {
  return stepOf(PAGE_STEPS_MS, failures);
}

export function channelDelayMs(failures: number, slow: boolean): number {
  return stepOf(slow ? SLOW_STEPS_MS : CHANNEL_STEPS_MS, failures);
}

function stepOf(stepsMs: readonly number[], failures: number): number {
  const step = stepsMs[Math.min(Math.max(failures, 1), stepsMs.length) - 1];
  if (step === undefined) throw new Error('no back-off steps');
  return step;
}
