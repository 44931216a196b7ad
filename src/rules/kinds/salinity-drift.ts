/**
 * Salinity that wanders off over days, read against the top-off.
 *
 * Problem: top-off replaces what evaporates and leaves the salt where it is, so that salinity stands still. If it falls all the same, salt leaves with water (a leak,
 * an overflowing skimmer) or too much fresh water comes in; if it rises, what evaporates is not made up, or salt is added. Both go on for weeks
 * unseen, since the level is right.
 *
 * Method: medians of the last 21 days (each of its hourly readings, at least seven days). Breached when each of the last four lies `change` or more from how it
 * was in the first four, and the days go the same way all along (Theil–Sen slope; Mann–Kendall |z| ≥ 1.96). From the slope follows how much: to lower the salinity S of a
 * volume V by s a day takes s/S · V of fresh water in place of tank water; to raise it, as much has to go and not come back. Beside it stands what the
 * reservoir has given a day, where that is measured. Back at 70 %. Judged once a day.
 *
 * What must not ring: a probe that fouls (0.5–2 % a month: 0.2–0.7, common practice, below the 0.8 in three weeks), weekly water changes (there and back), wild hours.
 */
import { z } from 'zod';
import { DAY } from '../../domain/duration.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { beforeReachingIn, electricalWork, husbandry } from '../cautions.ts';
import { defineRule, type RuleContext } from '../contract.ts';
import { dayRecord, nextRecordedMs, nothingRecorded, record } from '../day-record.ts';
import { median } from '../median.ts';
import { quietWithin } from '../quiet.ts';
import { percentOf, reservoirProposals } from '../reservoir.ts';
import { checkTheProbe, compensation, nearby, readSalinity, type Salinity, salinityEvidence, salinityProposals, showPsu, slowSalinity } from '../salinity.ts';
import { isSteady, type Trend, trendOf, trendShape } from '../trend.ts';
import { unknown } from '../unknown.ts';

const settings = z.strictObject({
  change: z.number().min(0.3).max(10).default(0.8).describe('Lasting change of practical salinity within three weeks that is too much. Default 0.8: more than a probe fouls.'),
  compensation,
});
type Settings = z.infer<typeof settings>;

const SPAN_DAYS = 21;
const BACK = 0.7;
const REFILL_PERCENT = 2;
const USED_DAYS_KEPT = 10;

const state = z.strictObject({
  record: dayRecord,
  trend: trendShape.nullable(),
  drifting: z.boolean(),
  /** Percent of the reservoir at the last hour, used since the day began, and used a day of late. */
  percent: z.number().nullable(),
  used: z.number(),
  usedDays: z.array(z.number()).max(USED_DAYS_KEPT),
});
type State = z.infer<typeof state>;

export default defineRule<Settings, State>({
  kind: 'salinity-drift',
  watchesFor: 'Salinity that wanders off over days although the water is topped off.',
  settings,
  state,
  initial: { record: nothingRecorded, trend: null, drifting: false, percent: null, used: 0, usedDays: [] },
  policy: { priority: 'low', onDelayMs: 0, offDelayMs: 0 },

  apply(facts) {
    const reservoir = reservoirProposals(facts, 'watched').find(({ missing }) => missing === null);
    return salinityProposals(facts, 'drifting', () => reservoir?.roles ?? {}).map((proposal) => ({ ...proposal, equipment: reservoir?.equipment ?? null }));
  },

  step(before, _input, context) {
    const salinity = readSalinity(context);
    if (!salinity.known) return { state: before, verdict: unknown(salinity.why) };
    const recorded = record(before.record, salinity.atMs, salinity.psu);
    const state = recorded === before.record ? before : hourOver(before, recorded, context);
    const quiet = quietWithin(nearby(salinity, 0.05, 1, context)?.within ?? null, nextRecordedMs(recorded));
    if (state.trend === null) return { state, verdict: unknown('needs seven full days of readings'), quiet };
    return { state, verdict: state.drifting ? breached(state, state.trend, salinity, context) : clear, quiet };
  },

  firstChecks(advice) {
    return [
      checkTheProbe,
      'Falling: look for water under the tank and behind it, into the cup and the drain of the skimmer, for salt creep, for a siphon or a top-off that runs after each pump stop. Rising: reservoir, top-off pump, its float or sensor and its line.',
      'Think of what is added on purpose: dosing, salt, water changes mixed weaker or stronger than the tank.',
      beforeReachingIn(advice),
      slowSalinity,
      electricalWork,
      husbandry,
    ];
  },
});

function hourOver(before: State, recorded: State['record'], context: RuleContext<Settings>): State {
  const gauge = context.current('gauge');
  const percent = gauge === null ? null : Math.round(percentOf(gauge, context) * 10) / 10;
  const drop = percent === null || before.percent === null ? 0 : before.percent - percent;
  // A refill: what was used up meanwhile is not known and counts as nothing.
  const used = Math.round((before.used + (drop > -REFILL_PERCENT ? drop : 0)) * 10) / 10;
  const now = { ...before, record: recorded, percent: percent ?? before.percent, used };
  if (recorded.days === before.record.days) return now;
  const usedDays = percent === null ? before.usedDays : [...before.usedDays, used].slice(-USED_DAYS_KEPT);
  const trend = trendOf(recorded, SPAN_DAYS);
  const change = trend === null ? 0 : Math.abs(trend.to - trend.from);
  const { change: limit } = context.settings;
  const drifting = trend !== null && (before.drifting ? change >= limit * BACK : change >= limit && isSteady(trend));
  return { ...now, used: 0, usedDays, trend, drifting };
}

function breached({ usedDays }: State, { fromDay, toDay, from, to, perDay }: Trend, salinity: Extract<Salinity, { readonly known: true }>, context: RuleContext<Settings>): Verdict {
  const { settings, tank, equipment } = context;
  const litres = tank.displayLitres + tank.sumpLitres;
  const exchange = (Math.abs(perDay) / to) * litres;
  const falls = perDay < 0;
  const evidence: Evidence[] = [
    ...salinityEvidence(salinity, 'Salinity now'),
    { label: 'At first', value: showPsu(from), atMs: fromDay * DAY },
    { label: 'Of late', value: showPsu(to), atMs: toDay * DAY },
    { label: 'Trend', value: `${falls ? '−' : '+'}${Math.abs(perDay).toFixed(2)} a day (lasting ${settings.change.toFixed(1)} is too much)` },
    { label: falls ? 'As if so much tank water a day were replaced by fresh' : 'As if so much a day evaporated and were not made up', value: `${exchange.toFixed(1)} L (of ${litres.toFixed(0)} L)` },
  ];
  const perDayUsed = usedDays.length < 3 ? null : median(usedDays);
  if (perDayUsed !== null && context.point('gauge') !== null) {
    const capacity = equipment?.capacityLitres ?? null;
    evidence.push({ label: 'The reservoir gives, a day', value: capacity === null ? `${perDayUsed.toFixed(1)} %` : `${((perDayUsed / 100) * capacity).toFixed(1)} L` });
  }
  return {
    state: 'breached',
    summary: `salinity has ${falls ? 'fallen' : 'risen'} from ${showPsu(from)} to ${showPsu(to)} in ${toDay - fromDay} days: ${falls ? `as if ${exchange.toFixed(1)} L of tank water a day left and were made up with fresh water` : `as if ${exchange.toFixed(1)} L a day evaporated and were not made up, or salt were added`}`,
    evidence,
    side: falls ? 'low' : 'high',
  };
}
