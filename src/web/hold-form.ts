/** What a person must say to hold a rule back: a reason always, and for shelving until when. */
import { z } from 'zod';
import { HOUR } from '../domain/duration.ts';
import { words } from './words.ts';

export const MIN_SHELVE_HOURS = 0.25;
export const MAX_SHELVE_HOURS = 720;

export const reason = z.string({ error: words.alarm.needReason }).trim().min(1, words.alarm.needReason).max(500);
export const shelveHours = z.number({ error: words.alarm.needHours }).min(MIN_SHELVE_HOURS, words.alarm.needHours).max(MAX_SHELVE_HOURS, words.alarm.needHours);

export const reasonForm = z.object({ why: reason });

/** Fields of the shelve form as the browser sends them. */
export const shelveForm = z.object({
  why: reason,
  span: z.enum(['1h', '8h', '24h', 'custom'], { error: words.alarm.needHours }),
  hours: z.string().trim().optional(),
}).transform((form, check) => {
  const hours = { '1h': 1, '8h': 8, '24h': 24, custom: Number((form.hours ?? '').replace(',', '.') || Number.NaN) }[form.span];
  const checked = shelveHours.safeParse(hours);
  if (checked.success) return { why: form.why, forMs: Math.round(checked.data * HOUR) };
  check.addIssue({ code: 'custom', message: words.alarm.needHours });
  return z.NEVER;
});
