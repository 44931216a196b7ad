/**
 * Water that warms and cools too far every day.
 *
 * Problem: a tank that swings by 2 K between noon and night wears its livestock down although no limit is ever passed, and says that heating, cooling, lamps
 * and room do not fit together. Common practice: up to 0.5–1 K is good, more than 1.5–2 K is poor.
 * Method: of each day that is over, the second highest less the second lowest of its hourly readings. Breached when two days on end swung by `kelvin` or more,
 * so that one hot afternoon, a water change or a probe in the air for an hour rings nobody; over when a day stays 0.3 K below that.
 */
import { z } from 'zod';
import { DAY } from '../../domain/duration.ts';
import { clear, type Verdict } from '../../domain/verdict.ts';
import { beforeReachingIn, electricalWork, husbandry } from '../cautions.ts';
import { defineRule, type RuleContext } from '../contract.ts';
import { type DayRecord, dayRecord, nextRecordedMs, nothingRecorded, record } from '../day-record.ts';
import { unknown, whyNotCurrent } from '../unknown.ts';
import { waterProposal } from '../water.ts';

const settings = z.strictObject({
  kelvin: z.number().min(0.5).max(10).default(2).describe('Swing within a day, in kelvin, that is too much on two days on end. Default 2; more than 1.5 to 2 is poor (common practice).'),
});
type Settings = z.infer<typeof settings>;

const state = z.strictObject({ record: dayRecord, swinging: z.boolean() });
type State = z.infer<typeof state>;

const BACK_K = 0.3;

export default defineRule<Settings, State>({
  kind: 'temperature-swing',
  watchesFor: 'Water that warms and cools too far every day.',
  settings,
  state,
  initial: { record: nothingRecorded, swinging: false },
  policy: { priority: 'low', onDelayMs: 0, offDelayMs: 0 },

  apply: (facts) => [waterProposal(facts, 'swinging too far')],

  step(before, _input, context) {
    const water = context.current('water');
    if (water === null) return { state: before, verdict: unknown(whyNotCurrent(context, 'water')) };
    const recorded = record(before.record, water.atMs, water.value);
    const state = recorded === before.record ? before : { record: recorded, swinging: recorded.days === before.record.days ? before.swinging : isSwinging(recorded, before.swinging, context.settings) };
    const quiet = { untilMs: nextRecordedMs(recorded) };
    if (state.record.days.length === 0) return { state, verdict: unknown('no full day of readings yet'), quiet };
    return { state, verdict: state.swinging ? breached(state.record, context) : clear, quiet };
  },

  firstChecks(advice) {
    return [
      'Look at the last days side by side: does it warm with the lamps, with the sun in the window, or with the room?',
      beforeReachingIn(advice),
      'Warm by day: open lids, move air over the water, shorten or dim the lamps, shade the window. Cool by night: heater too small, failing, or set far below the day.',
      'Heater and chiller should be set at least 1 °C apart, and each should hold its own end of the range (common practice).',
      electricalWork,
      husbandry,
    ];
  },
});

function isSwinging({ days }: DayRecord, was: boolean, { kelvin }: Settings): boolean {
  const last = days.at(-1);
  const before = days.at(-2);
  if (last === undefined) return was;
  if (was) return swingOf(last) > kelvin - BACK_K;
  return before !== undefined && before[0] === last[0] - 1 && swingOf(last) >= kelvin && swingOf(before) >= kelvin;
}

const swingOf = ([, , low, high]: DayRecord['days'][number]): number => high - low;

function breached({ days }: DayRecord, { settings: { kelvin } }: RuleContext<Settings>): Verdict {
  const shown = days.slice(-3);
  const last = shown.at(-1);
  const swing = last === undefined ? 'too far' : `by ${swingOf(last).toFixed(1)} K`;
  return {
    state: 'breached',
    summary: `the water swings ${swing} within a day; ${kelvin.toFixed(1)} K on two days on end is too much`,
    evidence: [
      ...shown.map((day) => ({ label: 'Swing of a day', value: `${swingOf(day).toFixed(1)} K, ${day[2].toFixed(1)} to ${day[3].toFixed(1)} °C`, atMs: day[0] * DAY })),
      { label: 'Too much from', value: `${kelvin.toFixed(1)} K on two days on end` },
    ],
  };
}
