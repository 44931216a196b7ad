/**
 * A tank that takes far more from its reservoir than it used to, or far less.
 *
 * Problem: more means water goes somewhere: a leak (salt goes with it, and the top-off thins what is left), a skimmer that overflows, a lid left off, a fan that never stops. Less means that evaporation is
 * no longer made up. The reservoir knows first, since it is what makes good.
 * Method, on the levels of the reservoir with refills taken out (`src/physics/top-off/`):
 *   - within hours: in each of the last three spans of two hours it fell by at least a sixth of a usual day, and in all six hours by more than a usual day and three times the noise of its gauge: four
 *     times the usual pace. A bucket taken out at once is one span, and does not ring;
 *   - from day to day: the last 24 h differ from the ten days before by more than 4 of their own standard deviations, and by `moreThan` times (or less than `lessThan`).
 * And more than the air of the room explains, or less (`src/physics/top-off/weather.ts`): water colder than the room lies near its dew point, and needs nothing in one week and litres in the next. There only more than a
 * tank of its size can evaporate at all is news, and that it needs nothing is none. Water and room are taken where they are measured.
 * Found once, it is held against what was usual then, until it has come half of the way back: a lid that stays off does not become usual.
 * The first is reckoned when a span of two hours is over, the second four times a day. Needs two days of history. While the reservoir is empty, what was found before stands, and nothing new is.
 * The factors are our own choice, common practice, no source.
 */
import { z } from 'zod';
import { DAY, HOUR, MINUTE } from '../../domain/duration.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { type Stretches, stretchesStart } from '../../physics/stretches.ts';
import { consumption, consumptionStep, rememberLevel, type ReservoirFacts } from '../../physics/top-off/consumption.ts';
import { weatherBand } from '../../physics/top-off/weather.ts';
import { ASSUMED_ROOM_C } from '../../physics/thermal/prior.ts';
import { beforeReachingIn, electricalWork, husbandry } from '../cautions.ts';
import { defineRule, type RuleContext } from '../contract.ts';
import { stretchesMemory } from '../memories.ts';
import { isEmpty, percentOf, reservoirProposals } from '../reservoir.ts';
import { unknown, whyNotCurrent } from '../unknown.ts';
import { roomTemperaturePoint, waterTemperaturePoint } from '../water.ts';
import leak from './leak.ts';
import topOffFailed from './top-off-failed.ts';

const settings = z.strictObject({
  moreThan: z.number().min(1.2).max(20).default(1.6).describe('Consumption is abnormal above so many times the usual. Default 1.6.'),
  lessThan: z.number().min(0).max(0.8).default(0.3).describe('And below so many times the usual; 0: never. Default 0.3, or 0 where top-off-failed watches.'),
  fast: z.boolean().default(true).describe('Whether four times the usual for six hours rings. Default true, or false where leak watches the reservoir beside the water.'),
});
type Settings = z.infer<typeof settings>;

const state = z.strictObject({
  /** In percent of the reservoir. */
  memory: stretchesMemory,
  sampledMs: z.number().nullable(),
  /** `null`: too little history. */
  usual: z.number().nullable(),
  found: z.strictObject({ how: z.enum(['fast', 'more', 'less']), recent: z.number(), usual: z.number(), sinceMs: z.number() }).nullable(),
});
type State = z.infer<typeof state>;

const SAMPLE_EVERY_MS = 10 * MINUTE;
const SIGMAS = 4;
const EMPTY_PERCENT = 5;
/** Levels are in percent here, so the contents are 100. */
const facts: ReservoirFacts = { fullLitres: 100 };
const NOISE_PERCENT = 1;
const REFILL_PERCENT = 2;
const COMPARE_EVERY_HOURS = 6;
/** Where it is not measured: as the kinds of water are kept, common practice. */
const COLD_C = 12;
const WARM_C = 25;
/** Less than this a day is not told from the gauge's drift. */
const LEAST_PERCENT_PER_DAY = 0.5;

export default defineRule<Settings, State>({
  kind: 'top-off-consumption',
  watchesFor: 'A tank that takes far more, or far less, from its top-off reservoir than it used to.',
  settings,
  state,
  initial: { memory: stretchesStart, sampledMs: null, usual: null, found: null },
  policy: { priority: 'high', onDelayMs: 0, offDelayMs: 2 * HOUR },

  apply(facts) {
    // Where leak sees the reservoir beside the water, it tells of one, and urgently.
    // Where pump and sump tell of a top-off that does not come, they tell it better: one cause, one page.
    const watched = topOffFailed.apply(facts).some(({ missing }) => missing === null);
    const leaks = leak.apply(facts).some(({ roles }) => roles.gauge !== undefined);
    const water = waterTemperaturePoint(facts);
    const room = roomTemperaturePoint(facts);
    const air = { ...(water === null ? {} : { water: water.id }), ...(room === null ? {} : { room: room.id }) };
    return reservoirProposals(facts, 'consumption abnormal').map((proposal) => ({ ...proposal, roles: { ...proposal.roles, ...air }, defaults: { ...(watched ? { lessThan: 0 } : {}), ...(leaks ? { fast: false } : {}) } }));
  },

  step(before, _input, context) {
    const gauge = context.current('gauge');
    if (gauge === null) return { state: before, verdict: unknown(whyNotCurrent(context, 'gauge')) };
    const percent = percentOf(gauge, context);
    const state = before.sampledMs !== null && gauge.atMs - before.sampledMs < SAMPLE_EVERY_MS ? before : take(before, gauge.atMs, percent, context);
    if (state.found !== null) return { state, verdict: breached(state.found, context) };
    return { state, verdict: state.usual === null ? unknown('its usual consumption is being learnt: it takes two days') : clear, quiet: state.sampledMs === null ? undefined : { untilMs: state.sampledMs + SAMPLE_EVERY_MS } };
  },

  // Three spans of two hours, or a day beside the days before.
  surelyAfterMs: (_settings, { state }) => (state.found === null || state.found.how === 'fast' ? 6 * HOUR : DAY),

  firstChecks(advice) {
    return [
      'Ask the site: is there water on the floor, is a lid off, does a window or a fan blow over the tank, has somebody taken water from the reservoir?',
      'Measure salinity. Falling: salt water goes (a leak, a skimmer that overflows, a siphon) and fresh water replaces it. Steady: it evaporates, or the reservoir itself leaks. Rising: evaporation is not made up.',
      beforeReachingIn(advice),
      'More than usual: unions, hoses and the skimmer cup; the end of the top-off hose (under water it siphons); lids and fans.',
      'Less than usual: see that the top-off pump runs when its float is lowered, and that the gauge moves.',
      electricalWork,
      husbandry,
    ];
  },
});

function take(before: State, atMs: number, percent: number, context: RuleContext<Settings>): State {
  const memory = rememberLevel(before.memory, atMs, Number(percent.toFixed(2)), false, facts);
  if (memory.bins === before.memory.bins) return { ...before, memory, sampledMs: atMs };
  const hour = memory.bins.at(-1)?.[0] ?? 0;
  // All pairs of slopes of ten days are looked at: four times a day is often enough for what takes days to show.
  const compared = before.usual === null || hour % COMPARE_EVERY_HOURS === 0 ? compare(memory, atMs) : null;
  const usual = compared?.usual ?? before.usual;
  const judged = !isEmpty(percent, EMPTY_PERCENT, false) && usual !== null && usual >= LEAST_PERCENT_PER_DAY;
  const allowed = allowedOf(context);
  // A reservoir that has been emptied by what was found is no news of it.
  const found = !judged ? before.found : before.found !== null ? stillAbnormal(memory, before.found, atMs, hour, context.settings) : (context.settings.fast ? findFast(memory, usual, allowed) : null) ?? findSlow(compared, context.settings, allowed);
  return { memory, sampledMs: atMs, usual, found: found === null ? null : { ...found, sinceMs: before.found?.sinceMs ?? atMs } };
}

interface Compared {
  /** Percent a day before the last day, and in it. */
  readonly usual: number;
  readonly recent: number | null;
  readonly sigmas: number;
}

/** `null`: too little history. */
function compare(memory: Stretches, nowMs: number): Compared | null {
  const step = consumptionStep(memory, nowMs, DAY);
  if (step.known) return { usual: Number(step.value.before.toFixed(3)), recent: step.value.recent, sigmas: step.value.sigmas };
  const before = consumption({ ...memory, bins: memory.bins.filter(([hour]) => hour * HOUR < nowMs - 6 * HOUR) });
  return before.known ? { usual: Number(before.value.litresPerDay.value.toFixed(3)), recent: null, sigmas: 0 } : null;
}

interface Allowed {
  /** Percent a day that the tank may take by weather alone, by what is usual. */
  more(usual: number): number;
  less(usual: number): number;
}

/** Where it is not measured, the water is as cold as its kind is kept, and the room as rooms are. */
function allowedOf(context: RuleContext<Settings>): Allowed {
  const { tank, equipment } = context;
  const waterC = context.current('water')?.value ?? (tank.water === 'cold' ? COLD_C : WARM_C);
  const band = weatherBand(tank.displayLitres + tank.sumpLitres, waterC, context.current('room')?.value ?? ASSUMED_ROOM_C);
  const capacity = equipment?.capacityLitres ?? null;
  // Without its contents nothing is known in litres, and only the ratio speaks.
  const mostPercent = capacity === null ? Number.POSITIVE_INFINITY : (100 * band.mostLitresPerDay) / capacity;
  return { more: (usual) => Math.min(band.most * usual, mostPercent), less: (usual) => (band.least === 0 ? Number.NEGATIVE_INFINITY : band.least * usual) };
}

function findFast(memory: Stretches, usual: number, { more }: Allowed): Found | null {
  const fall = fallOfSixHours(memory, usual);
  return fall !== null && fall > Math.max(usual, 3 * NOISE_PERCENT) && 4 * fall > more(usual) ? { how: 'fast', recent: Number((fall * 4).toFixed(2)), usual } : null;
}

function findSlow(compared: Compared | null, { moreThan, lessThan }: Settings, { more, less }: Allowed): Found | null {
  if (compared === null || compared.recent === null || compared.usual < LEAST_PERCENT_PER_DAY || Math.abs(compared.sigmas) < SIGMAS) return null;
  const ratio = compared.recent / compared.usual;
  const { recent, usual } = compared;
  const how = ratio > moreThan && recent > more(usual) ? 'more' : lessThan > 0 && ratio < lessThan && recent < less(usual) ? 'less' : null;
  return how === null ? null : { how, recent: Number(Math.max(0, compared.recent).toFixed(2)), usual: Number(compared.usual.toFixed(2)) };
}

/** Against what was usual when it was found: a lid left off for a week does not become usual. Over when it has come half of the way back. */
function stillAbnormal(memory: Stretches, { how, usual, recent: found }: NonNullable<State['found']>, nowMs: number, hour: number, { moreThan, lessThan }: Settings): Found | null {
  if (how === 'fast') {
    const [before, last] = memory.bins.slice(-2);
    if (before === undefined || last === undefined) return null;
    // Filled up, or without a gauge for a while: nothing is known anew.
    if (last[1] > before[1] + REFILL_PERCENT || last[0] - before[0] > 4) return { how, usual, recent: found };
    return before[1] - last[1] >= usual / 6 ? { how, usual, recent: Number((12 * (before[1] - last[1])).toFixed(2)) } : null;
  }
  if (hour % COMPARE_EVERY_HOURS !== 0) return { how, usual, recent: found };
  const recent = consumption(memory, nowMs - DAY - 2 * HOUR, 0.5);
  // A refill has cut the last day short: nothing is known anew.
  if (!recent.known) return { how, usual, recent: found };
  const ratio = recent.value.litresPerDay.value / usual;
  const still = how === 'more' ? ratio > (1 + moreThan) / 2 : ratio < (1 + lessThan) / 2;
  return still ? { how, usual, recent: Number(Math.max(0, recent.value.litresPerDay.value).toFixed(2)) } : null;
}

type Found = Omit<NonNullable<State['found']>, 'sinceMs'>;

/** Percent; `null` unless each of the three spans fell by its part, and no time is missing between them. */
function fallOfSixHours({ bins }: Stretches, usual: number): number | null {
  const last = bins.slice(-4);
  if (last.length < 4) return null;
  let fall = 0;
  let least = Number.POSITIVE_INFINITY;
  for (const [index, [hour, level]] of last.entries()) {
    const before = last[index - 1];
    if (before === undefined) continue;
    const fell = before[1] - level;
    if (hour - before[0] > 4 || fell < usual / 6) return null;
    fall += fell;
    least = Math.min(least, fell);
  }
  // Half of its even share at least: what was made up at once after a visit is no pace.
  return least < fall / 6 ? null : fall;
}

function breached({ how, recent, usual, sinceMs }: NonNullable<State['found']>, { equipment }: RuleContext<Settings>): Verdict {
  const capacity = equipment?.capacityLitres ?? null;
  const perDay = (percent: number): string => (capacity === null ? `${percent.toFixed(1)} % a day` : `${((percent / 100) * capacity).toFixed(1)} L a day`);
  const times = (recent / usual).toFixed(1);
  const evidence: Evidence[] = [
    { label: how === 'fast' ? 'Pace of the last six hours' : 'Last 24 hours', value: perDay(recent) },
    { label: 'Usual', value: perDay(usual) },
    { label: 'Times the usual', value: times },
    { label: 'Found', value: how === 'fast' ? 'in three spans of two hours, one after the other' : 'against the ten days before', atMs: sinceMs },
  ];
  const what = how === 'fast' ? 'a leak, an overflowing skimmer or a top-off that does not stop' : how === 'more' ? 'more evaporation (a lid off, a fan, dry air), or a leak' : 'evaporation is not made up, or there is less of it';
  return { state: 'breached', summary: `${equipment?.name ?? 'the reservoir'} gives ${perDay(recent)}, ${times} times the usual ${perDay(usual)}: ${what}`, evidence, side: how === 'less' ? 'low' : 'high' };
}
