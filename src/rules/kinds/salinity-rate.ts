/**
 * Salinity that changes too fast over a day.
 *
 * Problem: a rapid change is as harmful as a wrong value, worst for reef animals (Hadfield, "Water Quality", excerpt); up to 1 a day is borne (common
 * practice, no source). Top-off that stands still or runs on moves it by some tenths to one a day long before a limit.
 *
 * Method. Practical salinity once an hour (the median of the first five readings of the hour, or of what came), kept for a day. The median of the last three against the hours before: breached when it lies `perDay` or more above the second
 * lowest, or below the second highest, of at least six hours. Back at 70 %. A jump within one or two hours is `salinity-step`'s, and is left to it: one cause
 * rings once.
 *
 * What must not ring: one or two wild hours (a bubble, a probe in the air: medians, second extremes); a probe that throws a wild value now and then (`spikes` says so:
 * one reading an hour would be wild ever so often, three of five are not); noise of 0.1 %; a weekly water change (0.2); a probe that
 * fouls (0.02 a day). Without a temperature the threshold is 1.5 higher.
 */
import { z } from 'zod';
import { HOUR } from '../../domain/duration.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { beforeReachingIn, electricalWork, husbandry } from '../cautions.ts';
import { defineRule, type RuleContext } from '../contract.ts';
import { median } from '../median.ts';
import { quietWithin } from '../quiet.ts';
import { checkTheProbe, compensation, nearby, readSalinity, ROUGH_PSU, type Salinity, salinityEvidence, salinityProposals, showPsu, slowSalinity } from '../salinity.ts';
import { unknown } from '../unknown.ts';

const settings = z.strictObject({
  perDay: z.number().min(0.3).max(10).default(1).describe('Change of practical salinity within 24 hours that is too much. Default 1 (common practice).'),
  compensation,
});
type Settings = z.infer<typeof settings>;

const HOURS_KEPT = 25;
const NEWEST = 3;
const OLDER_NEEDED = 6;
const BACK = 0.7;
const READINGS_OF_HOUR = 5;

const state = z.strictObject({
  /** Hour since 1970 and salinity, oldest first. */
  hours: z.array(z.tuple([z.number(), z.number()])).max(HOURS_KEPT),
  side: z.enum(['rising', 'falling']).nullable(),
  /** Readings of an hour that is not in `hours` yet. */
  taken: z.strictObject({ hour: z.number(), atMs: z.number(), psu: z.array(z.number()).max(READINGS_OF_HOUR) }).nullable().default(null),
});
type State = z.infer<typeof state>;

export default defineRule<Settings, State>({
  kind: 'salinity-rate',
  watchesFor: 'Salinity that changes too fast over a day.',
  settings,
  state,
  initial: { hours: [], side: null, taken: null },
  policy: { priority: 'high', onDelayMs: 0, offDelayMs: 0 },

  apply: (facts) => salinityProposals(facts, 'changing too fast'),

  step(before, _input, context) {
    const salinity = readSalinity(context);
    if (!salinity.known) return { state: before, verdict: unknown(salinity.why) };
    const state = take(before, salinity, context);
    if (state.side !== null) return { state, verdict: breached(state, salinity, context) };
    // An hour that has its readings is done with.
    const last = state.taken === null ? state.hours.at(-1) : undefined;
    const quiet = last === undefined ? undefined : quietWithin(nearby(salinity, 0.05, 1, context)?.within ?? null, (last[0] + 1) * HOUR);
    return { state, verdict: state.hours.length < NEWEST + OLDER_NEEDED ? unknown('needs nine hours of readings') : clear, quiet };
  },

  firstChecks(advice) {
    return [
      checkTheProbe,
      'Rising: is the reservoir empty, the top-off pump off or its line blocked? Falling: does the top-off run on, a siphon draw from the reservoir, a skimmer overflow, or the tank leak and is made up with fresh water?',
      beforeReachingIn(advice),
      'Stop what adds or takes water first; then correct.',
      slowSalinity,
      electricalWork,
      husbandry,
    ];
  },
});

type KnownSalinity = Extract<Salinity, { readonly known: true }>;

function take(before: State, salinity: KnownSalinity, context: RuleContext<Settings>): State {
  const { atMs } = salinity;
  const hour = Math.floor(atMs / HOUR);
  const last = before.hours.at(-1);
  if ((last !== undefined && hour <= last[0]) || (before.taken !== null && atMs <= before.taken.atMs)) return before;
  // An hour that ended with fewer readings counts with those it had.
  const from = before.taken !== null && before.taken.hour < hour ? closed(before, before.taken, salinity.rough, context) : before;
  const taken = { hour, atMs, psu: [...(from.taken?.psu ?? []), Math.round(salinity.psu * 100) / 100] };
  // A probe that reads once an hour has one.
  const wanted = Math.min(READINGS_OF_HOUR, Math.max(1, Math.floor(HOUR / (context.point('conductivity')?.everyMs ?? HOUR))));
  return taken.psu.length < wanted ? { ...from, taken } : closed(from, taken, salinity.rough, context);
}

function closed(before: State, { hour, psu }: NonNullable<State['taken']>, rough: boolean, context: RuleContext<Settings>): State {
  const middle = median(psu);
  if (middle === null) return { ...before, taken: null };
  return judge({ ...before, taken: null, hours: [...before.hours, [hour, middle] as [number, number]].filter(([at]) => at > hour - HOURS_KEPT).slice(-HOURS_KEPT) }, rough, context);
}

function judge(before: State, rough: boolean, { settings: { perDay } }: RuleContext<Settings>): State {
  const change = changeOf(before.hours);
  if (change === null) return before.side === null ? before : { ...before, side: null };
  const threshold = (perDay + (rough ? ROUGH_PSU : 0)) * (before.side === null ? 1 : BACK);
  if (Math.abs(change.psu) < threshold) return { ...before, side: null };
  // Already ringing: what it then does is no step any more.
  if (before.side === null && change.jump >= 0.6 * Math.abs(change.psu)) return before;
  return { ...before, side: change.psu > 0 ? 'rising' : 'falling' };
}

interface Change {
  readonly psu: number;
  readonly from: number;
  readonly fromHour: number;
  /** The largest change within two hours. */
  readonly jump: number;
}

function changeOf(hours: State['hours']): Change | null {
  const older = hours.slice(0, -NEWEST);
  const now = median(hours.slice(-NEWEST).map(([, psu]) => psu));
  if (now === null || older.length < OLDER_NEEDED) return null;
  const sorted = [...older].sort((a, b) => a[1] - b[1]);
  const low = sorted[1];
  const high = sorted.at(-2);
  if (low === undefined || high === undefined) return null;
  const from = now - low[1] >= high[1] - now ? low : high;
  let jump = 0;
  for (let index = 2; index < hours.length; index += 1) {
    // Medians of three, so that one wild hour is no jump.
    const earlier = median(hours.slice(Math.max(0, index - 4), index - 1).map(([, psu]) => psu));
    const later = median(hours.slice(index, index + 3).map(([, psu]) => psu));
    if (earlier !== null && later !== null && hours.length - index >= 2) jump = Math.max(jump, Math.abs(later - earlier));
  }
  return { psu: now - from[1], from: from[1], fromHour: from[0], jump };
}

function breached({ hours, side }: State, salinity: KnownSalinity, { settings: { perDay } }: RuleContext<Settings>): Verdict {
  const change = changeOf(hours);
  const last = hours.at(-1);
  const evidence: Evidence[] = [...salinityEvidence(salinity, 'Salinity')];
  if (change === null || last === undefined) return unknown('needs nine hours of readings');
  const during = last[0] - change.fromHour;
  evidence.push({ label: 'Before', value: showPsu(change.from), atMs: change.fromHour * HOUR });
  evidence.push({ label: side === 'rising' ? 'Risen by (median of three hours)' : 'Fallen by (median of three hours)', value: `${Math.abs(change.psu).toFixed(1)} in ${during} h` });
  evidence.push({ label: 'Too fast from', value: `${perDay.toFixed(1)} in 24 h${salinity.rough ? `, and ${ROUGH_PSU} more for want of a temperature` : ''}` });
  return { state: 'breached', summary: `salinity has ${side === 'rising' ? 'risen' : 'fallen'} by ${Math.abs(change.psu).toFixed(1)} in ${during} h, from ${showPsu(change.from)} to ${showPsu(change.from + change.psu)}; ${perDay.toFixed(1)} a day is too fast`, evidence, side: side === 'rising' ? 'high' : 'low' };
}
