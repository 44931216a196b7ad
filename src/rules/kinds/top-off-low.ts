/**
 * A top-off reservoir that is running low.
 *
 * Problem: a visit costs a drive; knowing days before that a reservoir will run dry lets it be filled on the way.
 * Method: breached at or below `lowPercent`, or when what is left lasts less than `daysLeft` at the measured consumption, or not until the next visit to the site (`nextVisit`, where it lies within
 * 30 days and not in the past). Back two percent, and half a day, above.
 * Clear while the reservoir is empty: then `top-off-empty` speaks, and one cause rings once.
 *
 * Consumption is measured on the reservoir itself: at most six readings an hour, their median kept for seven days (168 hours). Refills (a rise of more
 * than 2 % from one hour to the next) are taken out, and so are falls of more than 10 % in an hour: no water evaporates that fast, a hand or a siphon took it. And the slope is the median over pairs half the series apart (Theil's incomplete method, robust
 * against outliers as Theil–Sen is, at a fraction of the work). It needs two days of history and is reckoned once an hour; until then only
 * the percentage counts. By how much one day differs from another says how far to trust it: the days left come with the range that holds four cases of five (`src/physics/top-off/`).
 *
 * Sources: low-level alarm at 2–3 days left: common practice, no source. Deadband: `reservoir.ts`.
 */
import { z } from 'zod';
import { DAY, HOUR, MINUTE } from '../../domain/duration.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import type { Estimate } from '../../physics/estimate.ts';
import { MAD_TO_SIGMA } from '../../physics/statistics/median.ts';
import { daysLeft, LEAST_DAY_SHARE } from '../../physics/top-off/consumption.ts';
import { beforeReachingIn, husbandry } from '../cautions.ts';
import { defineRule, type Latest, type Quiet, type RuleContext } from '../contract.ts';
import { median } from '../median.ts';
import { between } from '../quiet.ts';
import { isEmpty, LEVEL_DEADBAND_PERCENT, percentOf, reservoirProposals, showFill } from '../reservoir.ts';
import { unknown, whyNotCurrent } from '../unknown.ts';

const settings = z.strictObject({
  lowPercent: z.number().min(0).max(95).default(20).describe('Low at or below so many percent of full. Default 20.'),
  daysLeft: z.number().min(0).max(30).default(3).describe('Low when what is left lasts fewer days than this at the measured consumption; 0: only the percentage counts. Default 3.'),
  nextVisit: z.iso.date({ error: 'write a day, such as "2026-03-14"' }).nullable().default(null).describe('Day of the next visit, such as 2026-03-14; by itself that of the site. Low when what is left does not last until then.'),
  emptyPercent: z.number().min(0).max(50).default(5).describe('At or below so many percent it is empty, and top-off-empty speaks instead. Default 5; give top-off-empty the same.'),
});
type Settings = z.infer<typeof settings>;

const HOURS_KEPT = 168;
const HOURS_NEEDED = 36;
const SPAN_NEEDED_HOURS = 48;
const SAMPLE_EVERY_MS = 10 * MINUTE;
const REFILL_PERCENT = 2;
/** Ten times the pace that empties it in four days: whatever takes that is no consumption that goes on. */
const TAKEN_PERCENT_PER_HOUR = 10;
/** Half a day, so that a consumption that wavers does not ring twice. */
const DAYS_DEADBAND = 0.5;
/** Less than this a day is not told from the gauge's drift. */
const LEAST_PERCENT_PER_DAY = 0.3;

const state = z.strictObject({
  /** Finished hours, oldest first: hour since 1970, median fill in percent. */
  hours: z.array(z.tuple([z.number(), z.number()])).max(HOURS_KEPT),
  /** Readings taken in the hour that runs. */
  hour: z.number().nullable(),
  samples: z.array(z.number()).max(6),
  sampledMs: z.number().nullable(),
  /** Measured consumption; `null`: not enough history. */
  percentPerDay: z.number().nullable(),
  /** By how much days differ, and levels (percent, standard deviations), and days that were seen. */
  scatter: z.strictObject({ daySd: z.number(), levelSd: z.number(), days: z.number() }).nullable().default(null),
  /** As of the last finished hour: days until it is empty, with the range of four cases of five. */
  forecast: z.strictObject({ atMs: z.number(), days: z.number(), low: z.number(), high: z.number() }).nullable().default(null),
  low: z.boolean(),
  empty: z.boolean(),
});
type State = z.infer<typeof state>;

export default defineRule<Settings, State>({
  kind: 'top-off-low',
  watchesFor: 'A top-off reservoir that is running low.',
  settings,
  state,
  initial: { hours: [], hour: null, samples: [], sampledMs: null, percentPerDay: null, scatter: null, forecast: null, low: false, empty: false },
  policy: { priority: 'low', onDelayMs: 10 * MINUTE, offDelayMs: 10 * MINUTE },

  apply: (facts) => reservoirProposals(facts, 'running low').map((proposal) => ({ ...proposal, defaults: facts.site.nextVisit === undefined ? {} : { nextVisit: facts.site.nextVisit } })),

  objection({ lowPercent, emptyPercent }) {
    return lowPercent > emptyPercent ? null : { key: 'lowPercent', message: `lowPercent (${lowPercent}) must be above emptyPercent (${emptyPercent})` };
  },

  step(before, _input, context) {
    const gauge = context.current('gauge');
    if (gauge === null) return { state: before, verdict: unknown(whyNotCurrent(context, 'gauge')) };
    const percent = percentOf(gauge, context);
    const measured = measure(before, gauge.atMs, percent, context.settings.emptyPercent);
    const empty = isEmpty(percent, context.settings.emptyPercent, before.empty);
    const low = isLow(percent, measured.percentPerDay, before.low, context);
    const state = empty === measured.empty && low === measured.low ? measured : { ...measured, empty, low };
    return { state, verdict: low && !empty ? breached(percent, state, gauge, context) : clear, quiet: low || empty ? undefined : quietOf(state, percent, gauge, context) };
  },

  firstChecks(advice) {
    return [
      'Fill it on a visit before it is empty, with the purified fresh water kept for it.',
      'If it empties faster than usual: look for a leak, a siphon through the top-off line or a top-off pump that runs on, and check salinity.',
      beforeReachingIn(advice),
      husbandry,
    ];
  },
});

function isLow(percent: number, percentPerDay: number | null, wasLow: boolean, { settings, nowMs }: RuleContext<Settings>): boolean {
  const { lowPercent, daysLeft: lowFrom, emptyPercent } = settings;
  if (percent <= lowPercent + (wasLow ? LEVEL_DEADBAND_PERCENT : 0)) return true;
  const days = daysUntilEmpty(percent, percentPerDay, emptyPercent);
  const needed = daysNeeded(lowFrom, daysUntilVisit(settings, nowMs));
  return days !== null && needed > 0 && days < needed + (wasLow ? DAYS_DEADBAND : 0);
}

/** Until the next sample, while it stands above whatever is low. */
function quietOf({ sampledMs, percentPerDay }: State, percent: number, { value }: Latest, { settings, nowMs }: RuleContext<Settings>): Quiet | undefined {
  const { lowPercent, daysLeft: lowFrom, emptyPercent } = settings;
  // A visit that is not told of yet may be from one minute to the next.
  const untilVisit = settings.nextVisit === null ? null : (daysUntilVisit(settings, nowMs) ?? FARTHEST_VISIT_DAYS);
  const usedBefore = percentPerDay === null || percentPerDay < LEAST_PERCENT_PER_DAY ? 0 : daysNeeded(lowFrom, untilVisit) * percentPerDay;
  const most = Math.max(lowPercent, emptyPercent + usedBefore);
  return sampledMs === null || percent <= most ? undefined : { untilMs: sampledMs + SAMPLE_EVERY_MS, within: { gauge: between(value, (value * most) / percent) } };
}

const daysNeeded = (lowFrom: number, untilVisit: number | null): number => Math.max(lowFrom, untilVisit ?? lowFrom);

/** To the noon (UTC) of that day: visits are made by day, and half a day does not matter here. `null`: none is known, it is past, or too far off to be meant. */
function daysUntilVisit({ nextVisit }: Settings, nowMs: number): number | null {
  if (nextVisit === null) return null;
  const days = (Date.parse(`${nextVisit}T12:00:00Z`) - nowMs) / DAY;
  return days > 0 && days <= FARTHEST_VISIT_DAYS ? days : null;
}

const FARTHEST_VISIT_DAYS = 30;

function daysUntilEmpty(percent: number, percentPerDay: number | null, emptyPercent: number): number | null {
  return percentPerDay === null || percentPerDay < LEAST_PERCENT_PER_DAY ? null : Math.max(0, percent - emptyPercent) / percentPerDay;
}

/** Takes a reading into the hour that runs, and closes it when the next has begun. */
function measure(before: State, atMs: number, percent: number, emptyPercent: number): State {
  if (before.sampledMs !== null && atMs - before.sampledMs < SAMPLE_EVERY_MS) return before;
  const hour = Math.floor(atMs / HOUR);
  const sample = Math.round(percent * 10) / 10;
  if (hour === before.hour) return { ...before, samples: [...before.samples, sample].slice(-6), sampledMs: atMs };
  const closed = median(before.samples);
  const started = { ...before, hour, samples: [sample], sampledMs: atMs };
  if (before.hour === null || closed === null) return started;
  const hours = [...before.hours, [before.hour, Math.round(closed * 10) / 10] as [number, number]].filter(([at]) => at > hour - HOURS_KEPT).slice(-HOURS_KEPT);
  const percentPerDay = consumption(hours);
  const scatter = percentPerDay === null ? null : scatterOf(hours, percentPerDay);
  const left = leftOf(closed, { percentPerDay, scatter }, emptyPercent);
  return { ...started, hours, percentPerDay, scatter, forecast: left === null ? null : { atMs, days: rounded(left.value), low: rounded(left.low), high: rounded(left.high) } };
}

const rounded = (value: number): number => Number(value.toFixed(2)) + 0;

/** `null` where it does not fall, or is not known to. */
function leftOf(percent: number, { percentPerDay, scatter }: Pick<State, 'percentPerDay' | 'scatter'>, emptyPercent: number): Estimate | null {
  if (percentPerDay === null || percentPerDay < LEAST_PERCENT_PER_DAY || scatter === null) return null;
  // Its range is that of the days ahead; that of the mean is not looked at.
  const left = daysLeft({ litresPerDay: { value: percentPerDay, low: percentPerDay, high: percentPerDay }, ...scatter }, percent, emptyPercent, { fullLitres: 100 });
  return left.known ? left.value : null;
}

/** Falls of a day about the usual one, and of an hour, which hardly hold anything but the steps of the pump and the gauge. */
function scatterOf(hours: readonly (readonly [number, number])[], perDay: number): State['scatter'] {
  const used = usedUp(hours);
  const byHour = new Map(used);
  const off = (apart: number): readonly number[] => {
    const differences: number[] = [];
    for (const [hour, from] of used) {
      const to = byHour.get(hour + apart);
      if (to !== undefined) differences.push(to - from - (perDay * apart) / 24);
    }
    return differences;
  };
  const first = used[0];
  const last = used.at(-1);
  const dayOff = median(off(24).map(Math.abs));
  const hourOff = off(1);
  if (first === undefined || last === undefined || dayOff === null || hourOff.length === 0) return null;
  const levelVariance = hourOff.reduce((sum, one) => sum + one * one, 0) / hourOff.length / 2;
  const daySd = Math.max(Math.sqrt(Math.max(0, (MAD_TO_SIGMA * dayOff) ** 2 - 2 * levelVariance)), LEAST_DAY_SHARE * perDay);
  return { daySd: rounded(daySd), levelSd: rounded(Math.sqrt(levelVariance)), days: rounded((last[0] - first[0]) / 24) };
}

/** @param hours hour and percent, oldest first. @returns percent per day, or `null` for too short a history. */
export function consumption(hours: readonly (readonly [number, number])[]): number | null {
  const first = hours[0];
  const last = hours.at(-1);
  if (first === undefined || last === undefined || hours.length < HOURS_NEEDED || last[0] - first[0] < SPAN_NEEDED_HOURS) return null;
  const used = usedUp(hours);
  const half = used.length >> 1;
  const slopes: number[] = [];
  for (let index = 0; index + half < used.length; index += 1) {
    const from = used[index];
    const to = used[index + half];
    if (from !== undefined && to !== undefined && to[0] > from[0]) slopes.push((to[1] - from[1]) / (to[0] - from[0]));
  }
  const perHour = median(slopes);
  return perHour === null ? null : Math.round(perHour * 24 * 100) / 100;
}

/** Percent used since the first hour, refills and what was taken at once left out: what is used up meanwhile is not known and counts as nothing. */
function usedUp(hours: readonly (readonly [number, number])[]): readonly (readonly [number, number])[] {
  let used = 0;
  let before: readonly [number, number] | null = null;
  const since: (readonly [number, number])[] = [];
  for (const one of hours) {
    const [hour, percent] = one;
    const drop = before === null ? 0 : before[1] - percent;
    const most = before === null ? 0 : TAKEN_PERCENT_PER_HOUR * (hour - before[0]);
    if (drop > -REFILL_PERCENT && drop <= most) used += drop;
    before = one;
    since.push([hour, used]);
  }
  return since;
}

function breached(percent: number, state: State, gauge: Latest, { equipment, nowMs, settings }: RuleContext<Settings>): Verdict {
  const { lowPercent, daysLeft: lowFrom, emptyPercent } = settings;
  const { percentPerDay } = state;
  const left = leftOf(percent, state, emptyPercent);
  const untilVisit = daysUntilVisit(settings, nowMs);
  const days = daysUntilEmpty(percent, percentPerDay, emptyPercent);
  const evidence: Evidence[] = [
    { label: 'Fill', value: percent, kind: 'fill', atMs: gauge.atMs },
    { label: 'Low from', value: lowPercent, kind: 'fill' },
    percentPerDay === null
      ? { label: 'Consumption', value: 'not known yet: it takes two days of history' }
      : { label: 'Consumption', value: `${percentPerDay.toFixed(1)} % a day` },
  ];
  if (days !== null) evidence.push({ label: 'Empty in about', value: `${days.toFixed(1)} days${left === null ? '' : `; in four cases of five ${left.low.toFixed(1)} to ${left.high.toFixed(1)}`} (low from ${lowFrom})` });
  if (untilVisit !== null) evidence.push({ label: 'Next visit in about', value: `${untilVisit.toFixed(1)} days` });
  const notUntil = days === null || untilVisit === null || days >= untilVisit ? '' : `, and the next visit is in ${untilVisit.toFixed(1)}`;
  const rest = days === null ? `; low from ${lowPercent} % down` : `, about ${days.toFixed(1)} days until it is empty at ${(percentPerDay ?? Number.NaN).toFixed(1)} % a day${notUntil}`;
  return { state: 'breached', summary: `${equipment?.name ?? 'the reservoir'} is at ${showFill(percent, equipment)}${rest}`, evidence };
}
