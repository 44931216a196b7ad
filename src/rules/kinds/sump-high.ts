/**
 * Water that stands too high in a sump.
 *
 * Problem: a sump takes what drains down when the return pump stops, and little more. Overfilled, it runs over at the next power cut; and what fills it without an
 * end (a top-off pump stuck on) floods the floor and thins the water.
 * Method: breached when the gauge stands above what is usual by more than the margin (`sump-level.ts`) while the return pump runs, or when a float for high
 * water (a switch in the sump whose id or name says "high") has closed. While the pump stands the gauge is not judged: what drains down then belongs there
 * (the float is judged all the same). `high` in the fleet file replaces what is learnt.
 *
 * Urgent: the floor is next. On-delay 10 min: hands and buckets in the sump, and the minutes in which a pump that starts again draws it down.
 */
import { z } from 'zod';
import { MINUTE, showDuration } from '../../domain/duration.ts';
import { show } from '../../domain/units.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { beforeReachingIn, electricalWork } from '../cautions.ts';
import { defineRule, type Latest, type Quiet, type RuleContext } from '../contract.ts';
import { nextTakenMs, noHours } from '../hours.ts';
import { between } from '../quiet.ts';
import { DEADBAND_SHARE, HOURS_NEEDED, learnUsual, returnPumpRuns, returnPumpsStay, sumpProposals, usualState } from '../sump-level.ts';
import { unknown, whyNotCurrent } from '../unknown.ts';

const settings = z.strictObject({
  high: z.number().nullable().default(null).describe('Highest level while the return pump runs, in mm (L, % where that is measured); null: what is usual plus a margin, learnt within a day.'),
});
type Settings = z.infer<typeof settings>;

const state = usualState.extend({ sinceMs: z.number().nullable() });
type State = z.infer<typeof state>;

export default defineRule<Settings, State>({
  kind: 'sump-high',
  watchesFor: 'Water that stands too high in a sump.',
  settings,
  state,
  initial: { hourly: noHours, usual: null, margin: null, sinceMs: null },
  policy: { priority: 'urgent', onDelayMs: 10 * MINUTE, offDelayMs: 10 * MINUTE },

  apply: (facts) => sumpProposals(facts, 'Sump too full', true),

  step(before, input, context) {
    const gauge = context.current('gauge');
    const float = context.current('float');
    if (gauge === null && float === null) return { state: before, verdict: unknown(whyNotCurrent(context, context.point('gauge') === null ? 'float' : 'gauge')) };
    const runs = returnPumpRuns(context);
    const kind = context.point('gauge')?.kind ?? 'level';
    const learnt: State = gauge !== null && runs !== false && input.type === 'reading' && input.role === 'gauge' ? withUsual(before, learnUsual(before, gauge, kind)) : before;
    const highMark = highOf(learnt, context.settings);
    const afloat = float !== null && float.value >= 0.5;
    const above = gauge !== null && runs !== false && highMark !== null && gauge.value > highMark - (learnt.sinceMs === null ? 0 : DEADBAND_SHARE * (learnt.margin ?? 0));
    if (afloat || above) {
      const state = learnt.sinceMs === null ? { ...learnt, sinceMs: context.nowMs } : learnt;
      return { state, verdict: breached(state, gauge, afloat, above, highMark, context) };
    }
    const state = learnt.sinceMs === null ? learnt : { ...learnt, sinceMs: null };
    const quiet: Quiet = {
      untilMs: gauge === null || runs === false ? Number.POSITIVE_INFINITY : nextTakenMs(state.hourly),
      within: {
        ...returnPumpsStay(context),
        ...(float === null ? {} : { float: between(float.value, 0.5) }),
        ...(gauge === null || runs === false || highMark === null ? {} : { gauge: between(gauge.value, highMark) }),
      },
    };
    if (float === null && highMark === null) return { state, verdict: unknown(`its usual level is being learnt: it takes ${HOURS_NEEDED} hours with the return pump running`), quiet };
    return { state, verdict: clear, quiet };
  },

  firstChecks(advice) {
    return [
      'Ask the site to look: does water stand at the rim or on the floor? Towels and a bucket first.',
      beforeReachingIn(advice),
      'See that the top-off pump has stopped and the reservoir has not emptied into the sump; check its float for snails and salt creep.',
      'See that the return pump runs at its usual speed, and that weir and drains into the sump are as usual.',
      'Take water out until there is room for everything that drains down when the pump stops; then check salinity, and correct it slowly (common practice: no more than 1 psu a day).',
      electricalWork,
    ];
  },
});

const withUsual = (before: State, usual: Omit<State, 'sinceMs'>): State => (usual === before ? before : { ...usual, sinceMs: before.sinceMs });

function highOf({ usual, margin }: State, { high }: Settings): number | null {
  if (high !== null) return high;
  return usual === null || margin === null ? null : usual + margin;
}

function breached({ usual, sinceMs }: State, gauge: Latest | null, afloat: boolean, above: boolean, highMark: number | null, context: RuleContext<Settings>): Verdict {
  const kind = context.point('gauge')?.kind ?? 'level';
  const since = sinceMs ?? context.nowMs;
  const evidence: Evidence[] = [];
  if (gauge !== null) evidence.push({ label: 'Sump', value: gauge.value, kind, atMs: gauge.atMs });
  if (usual !== null) evidence.push({ label: 'Usual while the return pump runs', value: usual, kind });
  if (highMark !== null) evidence.push({ label: 'Too high from', value: highMark, kind });
  if (context.point('float') !== null) evidence.push({ label: 'Float for high water', value: afloat ? 'closed' : 'open' });
  evidence.push({ label: 'For', value: showDuration(Math.max(0, context.nowMs - since)), atMs: since });
  const byGauge = above && gauge !== null ? `the sump stands at ${show(kind, gauge.value)}, too high from ${show(kind, highMark)}${usual === null ? '' : `; ${show(kind, usual)} is usual`}` : null;
  return { state: 'breached', summary: [afloat ? 'the float for high water in the sump has closed' : null, byGauge].filter((part) => part !== null).join(', and '), evidence, ...(afloat ? {} : { side: 'high' as const }) };
}
