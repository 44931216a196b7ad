/**
 * Water whose usual temperature wanders off over days.
 *
 * Problem: a dial that was turned, a thermostat or probe that loses its calibration, a chiller that tires, a summer that comes: each moves the water by
 * tenths a day, no limit is passed for weeks, and when it is there is no reserve left.
 * Method: medians of the last 21 days (each of its hourly readings, at least 7 days). Breached when each of the last four lies `kelvin` or more from how it was in
 * the first four, and the days go the same way all along (Theil–Sen slope; Mann–Kendall |z| ≥ 1.96). Back at 70 % of that, which by itself comes when the water
 * has stayed where it is for some two weeks: then that is the new usual. Checked once a day.
 * What must not ring: hot afternoons and cold nights (medians), a hot weekend of up to three days, a week's swing with the weather below 1 K.
 * Source of 1 K: alert band of setpoint ± 1 °C, common practice.
 */
import { z } from 'zod';
import { DAY } from '../../domain/duration.ts';
import { show } from '../../domain/units.ts';
import { clear, type Verdict } from '../../domain/verdict.ts';
import { beforeReachingIn, electricalWork, husbandry, slowCorrection } from '../cautions.ts';
import { defineRule, type RuleContext } from '../contract.ts';
import { dayRecord, nextRecordedMs, nothingRecorded, record } from '../day-record.ts';
import { isSteady, type Trend, trendOf, trendShape } from '../trend.ts';
import { unknown, whyNotCurrent } from '../unknown.ts';
import { waterProposal } from '../water.ts';

const settings = z.strictObject({
  kelvin: z.number().min(0.3).max(10).default(1).describe('Lasting change of the usual temperature within three weeks, in kelvin, that is too much. Default 1 (common practice).'),
});
type Settings = z.infer<typeof settings>;

const state = z.strictObject({ record: dayRecord, trend: trendShape.nullable(), drifting: z.boolean() });
type State = z.infer<typeof state>;

const SPAN_DAYS = 21;
const BACK = 0.7;

export default defineRule<Settings, State>({
  kind: 'temperature-drift',
  watchesFor: 'Water whose usual temperature wanders off over days.',
  settings,
  state,
  initial: { record: nothingRecorded, trend: null, drifting: false },
  policy: { priority: 'low', onDelayMs: 0, offDelayMs: 0 },

  apply: (facts) => [waterProposal(facts, 'drifting')],

  step(before, _input, context) {
    const water = context.current('water');
    if (water === null) return { state: before, verdict: unknown(whyNotCurrent(context, 'water')) };
    const recorded = record(before.record, water.atMs, water.value);
    const state = recorded === before.record ? before : recorded.days === before.record.days ? { ...before, record: recorded } : judge({ ...before, record: recorded }, context.settings);
    const quiet = { untilMs: nextRecordedMs(recorded) };
    if (state.trend === null) return { state, verdict: unknown('needs seven full days of readings'), quiet };
    return { state, verdict: state.drifting ? breached(state.trend, context) : clear, quiet };
  },

  firstChecks(advice) {
    return [
      'Compare the probe with an independent thermometer: a probe that drifts looks like water that drifts. If there are two probes, compare them.',
      'Compare with the room: does the water follow the season? Then heating or cooling is at its end, or missing.',
      beforeReachingIn(advice),
      'Compare the dials of heater and chiller with the fleet file; clean the chiller’s condenser and see that air can get to it.',
      slowCorrection,
      electricalWork,
      husbandry,
    ];
  },
});

/** A day is over. */
function judge(before: State, { kelvin }: Settings): State {
  const trend = trendOf(before.record, SPAN_DAYS);
  if (trend === null) return { ...before, trend: null, drifting: false };
  const change = Math.abs(trend.to - trend.from);
  return { ...before, trend, drifting: before.drifting ? change >= kelvin * BACK : change >= kelvin && isSteady(trend) };
}

function breached({ fromDay, toDay, from, to, perDay }: Trend, { settings: { kelvin } }: RuleContext<Settings>): Verdict {
  return {
    state: 'breached',
    summary: `the water has drifted from ${show('temperature', from)} to ${show('temperature', to)} in ${toDay - fromDay} days; each of the last four days lies ${kelvin.toFixed(1)} K or more from how it was`,
    evidence: [
      { label: 'Usual at first', value: from, kind: 'temperature', atMs: fromDay * DAY },
      { label: 'Usual of late', value: to, kind: 'temperature', atMs: toDay * DAY },
      { label: 'Trend', value: `${perDay >= 0 ? '+' : '−'}${Math.abs(perDay).toFixed(2)} K a day` },
      { label: 'Too much from', value: `${kelvin.toFixed(1)} K in ${SPAN_DAYS} days` },
    ],
    side: to < from ? 'low' : 'high',
  };
}
