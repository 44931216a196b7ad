/**
 * A top-off reservoir that is empty.
 *
 * Problem: when it runs dry, evaporation is not made up any more: the sump falls, the return pump draws air, salinity climbs (from 35 by 0.35 for
 * every percent of volume lost), and the top-off pump may run dry.
 * Method: breached at or below `emptyPercent`, back two percent above it. Running low is told by `top-off-low`, which stays silent while this one is
 * breached: one cause, one page.
 *
 * High, not urgent: evaporation is 0.5–1.5 % of the volume a day (common practice), so nothing is lost before morning. On-delay 2 min: ripples, and
 * somebody lifting the gauge while filling up. Source of the deadband: `reservoir.ts`; the rest is common practice.
 */
import { z } from 'zod';
import { MINUTE, showDuration } from '../../domain/duration.ts';
import { clear } from '../../domain/verdict.ts';
import { beforeReachingIn, electricalWork, husbandry } from '../cautions.ts';
import { defineRule } from '../contract.ts';
import { between, quietWithin } from '../quiet.ts';
import { isEmpty, percentOf, reservoirProposals, showFill } from '../reservoir.ts';
import { unknown, whyNotCurrent } from '../unknown.ts';

const settings = z.strictObject({
  emptyPercent: z.number().min(0).max(50).default(5).describe('Empty at or below so many percent of full. Default 5; give top-off-low the same.'),
});
type Settings = z.infer<typeof settings>;

const state = z.strictObject({ emptySinceMs: z.number().nullable() });
type State = z.infer<typeof state>;

const filled: State = { emptySinceMs: null };

export default defineRule<Settings, State>({
  kind: 'top-off-empty',
  watchesFor: 'A top-off reservoir that is empty.',
  settings,
  state,
  initial: filled,
  policy: { priority: 'high', onDelayMs: 2 * MINUTE, offDelayMs: 2 * MINUTE },

  apply: (facts) => reservoirProposals(facts, 'empty'),

  step(before, _input, context) {
    const gauge = context.current('gauge');
    if (gauge === null) return { state: before, verdict: unknown(whyNotCurrent(context, 'gauge')) };
    const percent = percentOf(gauge, context);
    const { equipment, nowMs, settings: { emptyPercent } } = context;
    if (!isEmpty(percent, emptyPercent, before.emptySinceMs !== null)) return { state: before.emptySinceMs === null ? before : filled, verdict: clear, quiet: quietWithin({ gauge: between(gauge.value, (gauge.value * emptyPercent) / percent) }) };
    const emptySinceMs = before.emptySinceMs ?? gauge.atMs;
    return {
      state: before.emptySinceMs === null ? { emptySinceMs } : before,
      verdict: {
        state: 'breached',
        summary: `${equipment?.name ?? 'the reservoir'} is at ${showFill(percent, equipment)}; empty from ${emptyPercent} % down`,
        evidence: [
          { label: 'Fill', value: percent, kind: 'fill', atMs: gauge.atMs },
          { label: 'Empty from', value: emptyPercent, kind: 'fill' },
          { label: 'Empty for', value: showDuration(Math.max(0, nowMs - emptySinceMs)), atMs: emptySinceMs },
        ],
      },
    };
  },

  firstChecks(advice) {
    return [
      'Fill it with the purified fresh water kept for it, never with salt water, and never from an unwatched hose.',
      'Look at the sump: how far has it fallen, does the return pump draw air? Check salinity (specific gravity) before topping up a large deficit, and make it up in steps over a day (common practice: no more than 1 psu a day).',
      'If it emptied sooner than usual: look for a leak, a siphon through the top-off line, or a top-off pump that ran on; measure salinity for too much fresh water.',
      beforeReachingIn(advice),
      'See that the top-off pump has not run dry and still pumps.',
      electricalWork,
      husbandry,
    ];
  },
});
