/**
 * A sensor that throws single wild values.
 *
 * Problem: a bad plug or a wet cable sends now and then a value that cannot be, between right ones. Charts become useless, limits flicker, and the day comes on which no right value is left.
 * Method, after Hampel: the middle of the last seven values taken ten minutes apart, and their scatter (1.4826 · MAD, at least what the instrument resolves). A reading further from it than 5 of those is
 * wild. A spike is one or two wild readings with right ones after them; more in a row are a step, a probe lifted out or a real change, and count for nothing. Breached when there were `spikes` of
 * them within 6 h; over when there are fewer than half.
 * One in a thousand readings is wild with any sensor on a long cable: at one a minute that is one in 17 h. Five in 6 h are not. Common practice, no source.
 */
import { z } from 'zod';
import { HOUR, MINUTE, showDuration } from '../../domain/duration.ts';
import type { Point } from '../../domain/fleet.ts';
import type { Kind } from '../../domain/kinds.ts';
import { show } from '../../domain/units.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { median, robustSigma } from '../../physics/statistics/median.ts';
import { beforeReachingIn, electricalWork } from '../cautions.ts';
import { defineRule, type Latest, type Proposal, type Quiet, type RuleContext } from '../contract.ts';
import { between } from '../quiet.ts';
import { pointById, tellsOfTank } from '../subject.ts';
import { unknown, whyNotCurrent } from '../unknown.ts';

const settings = z.strictObject({
  spikes: z.int().min(2).max(60).default(5).describe('So many single wild readings within 6 hours are too many. Default 5.'),
  size: z.number().positive().nullable().default(null).describe('How far from its neighbours a reading is wild at the least, in the unit of the point; null: by kind (1 °C, 3 % of a conductivity, 0.2 pH).'),
});
type Settings = z.infer<typeof settings>;

const SPIKES_KEPT = 64;

const state = z.strictObject({
  window: z.array(z.number()).max(7),
  sampledMs: z.number().nullable(),
  /** Of the window: its middle, and how far from it is wild. */
  middle: z.number().nullable(),
  reach: z.number(),
  /** Wild readings in a row up to now, and the first of them. */
  run: z.int(),
  spikesMs: z.array(z.number()).max(SPIKES_KEPT),
  worst: z.number().nullable(),
  breached: z.boolean(),
});
type State = z.infer<typeof state>;

const WINDOW = 7;
const LEAST_WINDOW = 5;
const SAMPLE_EVERY_MS = 10 * MINUTE;
const WIDTH = 5;
const SPAN_MS = 6 * HOUR;
/** Longer runs are no spikes. */
const LONGEST_SPIKE = 2;
const kindsWatched: ReadonlySet<Kind> = new Set(['temperature', 'conductivity', 'acidity']);

export default defineRule<Settings, State>({
  kind: 'spikes',
  watchesFor: 'A sensor that throws single wild values.',
  settings,
  state,
  initial: { window: [], sampledMs: null, middle: null, reach: 0, run: 0, spikesMs: [], worst: null, breached: false },
  // A loose contact is quiet for hours: the same news.
  policy: { priority: 'low', onDelayMs: 0, offDelayMs: 20 * HOUR },

  apply: (facts) => facts.points.filter(({ kind, source }) => kindsWatched.has(kind) && source !== null).map(proposalFor),

  applyTo(facts, subject) {
    const point = pointById(facts, subject);
    return point !== null && kindsWatched.has(point.kind) ? proposalFor(point) : `spikes are looked for in temperature, conductivity and acidity, and “${subject}” is none of these`;
  },

  step(before, input, context) {
    const value = context.current('value');
    if (value === null) return { state: before, verdict: unknown(whyNotCurrent(context, 'value')) };
    const state = input.type === 'reading' ? follow(before, value, context) : before;
    const count = countRecent(state.spikesMs, context.nowMs);
    const tooMany = count >= (state.breached ? context.settings.spikes / 2 : context.settings.spikes);
    const next = tooMany === state.breached ? state : { ...state, breached: tooMany };
    if (tooMany) return { state: next, verdict: breached(next, count, value, context) };
    return { state: next, verdict: state.middle === null ? unknown('learning how its values lie: it takes an hour') : clear, quiet: quietOf(next, value) };
  },

  // It speaks of six hours.
  surelyAfterMs: () => SPAN_MS,

  firstChecks(advice) {
    return [
      'Look at the chart: single values far off between right ones come from a bad contact or from interference of a pump, a ballast or a dimmer beside the lead.',
      beforeReachingIn(advice),
      'Pull the plug of the probe, dry and clean its contacts, plug it in again; look for chafed cable and water in joints.',
      'If it stays, change the probe before it fails for good. Until then trust the middle of its values, not the single one.',
      electricalWork,
    ];
  },
});

const proposalFor = (point: Point): Proposal => ({ subject: point.id, title: `${point.name} throws wild values`, roles: { value: point.id }, equipment: null, missing: null, defaults: {}, ...(tellsOfTank(point) ? { policy: { priority: 'high' as const } } : {}) });

function follow(before: State, { atMs, value }: Latest, context: RuleContext<Settings>): State {
  const wild = before.middle !== null && Math.abs(value - before.middle) > before.reach;
  // Wild values do not enter the window, unless they stay.
  const isSample = before.sampledMs === null || atMs - before.sampledMs >= SAMPLE_EVERY_MS;
  const sampled = isSample && (!wild || before.run >= LONGEST_SPIKE) ? sample(before, atMs, value, context) : before;
  if (wild) {
    // Beyond a spike, counting on would write for nothing.
    if (before.run > LONGEST_SPIKE) return sampled;
    const worst = before.worst === null || Math.abs(value - (before.middle ?? value)) > Math.abs(before.worst - (before.middle ?? value)) ? value : before.worst;
    return { ...sampled, run: before.run + 1, worst };
  }
  if (before.run === 0) return sampled;
  if (before.run > LONGEST_SPIKE) return { ...sampled, run: 0 };
  return { ...sampled, run: 0, spikesMs: [...before.spikesMs.filter((spikeMs) => spikeMs > atMs - SPAN_MS), atMs].slice(-SPIKES_KEPT) };
}

/** Until the next sample, while its values are not wild. */
function quietOf({ run, sampledMs, middle, reach }: State, { value }: Latest): Quiet | undefined {
  if (run !== 0 || sampledMs === null || (middle !== null && Math.abs(value - middle) > reach)) return undefined;
  return { untilMs: sampledMs + SAMPLE_EVERY_MS, within: middle === null ? {} : { value: between(value, middle - reach, middle + reach) } };
}

function sample(before: State, atMs: number, value: number, context: RuleContext<Settings>): State {
  const window = [...before.window, value].slice(-WINDOW);
  const middle = window.length < LEAST_WINDOW ? null : median(window);
  if (middle === null) return { ...before, window, sampledMs: atMs };
  const sigma = robustSigma(window) ?? 0;
  const least = context.settings.size ?? leastOf(context.point('value')?.kind ?? 'temperature', middle);
  return { ...before, window, sampledMs: atMs, middle, reach: Math.max(least, WIDTH * sigma) };
}

function leastOf(kind: Kind, middle: number): number {
  switch (kind) {
    case 'conductivity':
      return Math.max(0.02, 0.03 * Math.abs(middle));
    case 'acidity':
      return 0.2;
    default:
      return 1;
  }
}

function countRecent(spikesMs: readonly number[], nowMs: number): number {
  let count = 0;
  for (const spikeMs of spikesMs) if (spikeMs > nowMs - SPAN_MS) count += 1;
  return count;
}

function breached({ middle, reach, spikesMs, worst }: State, count: number, { value }: Latest, context: RuleContext<Settings>): Verdict {
  const kind = context.point('value')?.kind ?? 'temperature';
  const lastMs = spikesMs.at(-1) ?? context.nowMs;
  const evidence: Evidence[] = [
    { label: 'Single wild readings in 6 h', value: String(count) },
    { label: 'Too many from', value: String(context.settings.spikes) },
    { label: 'The last', value: `${showDuration(Math.max(0, context.nowMs - lastMs))} ago`, atMs: lastMs },
    { label: 'Value now', value, kind },
  ];
  if (middle !== null) evidence.push({ label: 'Middle of the last hour', value: middle, kind }, { label: 'Wild from there by', value: show(kind, reach) });
  if (worst !== null) evidence.push({ label: 'The wildest', value: worst, kind });
  return { state: 'breached', summary: `${count} single wild readings in 6 h${worst === null || middle === null ? '' : `, such as ${show(kind, worst)} where ${show(kind, middle)} is its middle`}`, evidence };
}
