/**
 * Water that stands too low in a sump.
 *
 * Problem: evaporation and leaks show in the sump first, since the weir keeps the display's level. Too low, the return pump draws air and then runs dry, heaters in
 * the sump hang in air, and salinity climbs.
 * Method: breached when the gauge stands below what is usual by more than the margin (`sump-level.ts`), whether or not the return pump runs: a pump that stops makes
 * the sump rise. `low` in the fleet file replaces what is learnt.
 *
 * High: a day's evaporation is seldom more than 1.5 % of the volume (common practice), so the night is safe; a leak that is faster is told by the leak sensor or by
 * `leak`. On-delay 15 min: a return pump that starts again draws the sump down for some minutes, and hands take water out on visits.
 */
import { z } from 'zod';
import { MINUTE, showDuration } from '../../domain/duration.ts';
import { show } from '../../domain/units.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { beforeReachingIn, electricalWork, husbandry } from '../cautions.ts';
import { defineRule, type Latest, type Quiet, type RuleContext } from '../contract.ts';
import { nextTakenMs, noHours } from '../hours.ts';
import { between } from '../quiet.ts';
import { DEADBAND_SHARE, HOURS_NEEDED, learnUsual, returnPumpRuns, returnPumpsStay, sumpProposals, usualState } from '../sump-level.ts';
import { unknown, whyNotCurrent } from '../unknown.ts';

const settings = z.strictObject({
  low: z.number().nullable().default(null).describe('Lowest level, in mm (L, % where that is measured); null: what is usual less a margin, learnt within a day.'),
});
type Settings = z.infer<typeof settings>;

const state = usualState.extend({ sinceMs: z.number().nullable() });
type State = z.infer<typeof state>;

export default defineRule<Settings, State>({
  kind: 'sump-low',
  watchesFor: 'Water that stands too low in a sump.',
  settings,
  state,
  initial: { hourly: noHours, usual: null, margin: null, sinceMs: null },
  policy: { priority: 'high', onDelayMs: 15 * MINUTE, offDelayMs: 15 * MINUTE },

  apply: (facts) => sumpProposals(facts, 'Sump too low', false),

  step(before, input, context) {
    const gauge = context.current('gauge');
    const kind = context.point('gauge')?.kind ?? 'level';
    if (gauge === null) return { state: before, verdict: unknown(whyNotCurrent(context, 'gauge')) };
    const runs = returnPumpRuns(context);
    const learns = runs !== false && input.type === 'reading' && input.role === 'gauge';
    const usual = learns ? learnUsual(before, gauge, kind) : before;
    const learnt: State = usual === before ? before : { ...usual, sinceMs: before.sinceMs };
    const lowMark = lowOf(learnt, context.settings);
    const state = learnt;
    const quiet: Quiet = { untilMs: runs === false ? Number.POSITIVE_INFINITY : nextTakenMs(state.hourly), within: { ...returnPumpsStay(context), ...(lowMark === null ? {} : { gauge: between(gauge.value, lowMark) }) } };
    if (lowMark === null) return { state: since(state, null), verdict: unknown(`its usual level is being learnt: it takes ${HOURS_NEEDED} hours with the return pump running`), quiet };
    if (gauge.value >= lowMark + (state.sinceMs === null ? 0 : DEADBAND_SHARE * (state.margin ?? 0))) return { state: since(state, null), verdict: clear, quiet };
    const fallen = since(state, state.sinceMs ?? context.nowMs);
    return { state: fallen, verdict: breached(fallen, gauge, lowMark, context) };
  },

  firstChecks(advice) {
    return [
      'Ask the site whether there is water on the floor, and whether the pump makes noises of air.',
      beforeReachingIn(advice),
      'Is the reservoir empty, or does the top-off pump not run? Free its float, look at hose and plug.',
      'Does the display stand higher than usual (a blocked weir or overflow)? Clear it: the water is up there.',
      'See that heaters in the sump are under water: one that ran in air must cool before it gets wet, or its glass breaks.',
      'Measure salinity before topping up: fresh water for what has evaporated, mixed salt water for what has leaked; a large deficit in steps over a day.',
      electricalWork,
      husbandry,
    ];
  },
});

const since = (state: State, sinceMs: number | null): State => (state.sinceMs === sinceMs ? state : { ...state, sinceMs });

function lowOf({ usual, margin }: State, { low }: Settings): number | null {
  if (low !== null) return low;
  return usual === null || margin === null ? null : usual - margin;
}

function breached({ usual, sinceMs }: State, gauge: Latest, lowMark: number, context: RuleContext<Settings>): Verdict {
  const kind = context.point('gauge')?.kind ?? 'level';
  const from = sinceMs ?? context.nowMs;
  const evidence: Evidence[] = [{ label: 'Sump', value: gauge.value, kind, atMs: gauge.atMs }];
  if (usual !== null) evidence.push({ label: 'Usual', value: usual, kind });
  evidence.push({ label: 'Too low from', value: lowMark, kind }, { label: 'For', value: showDuration(Math.max(0, context.nowMs - from)), atMs: from });
  return { state: 'breached', summary: `the sump stands at ${show(kind, gauge.value)}, too low from ${show(kind, lowMark)}${usual === null ? '' : `; ${show(kind, usual)} is usual`}`, evidence };
}
