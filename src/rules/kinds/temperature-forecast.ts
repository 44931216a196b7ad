/**
 * Water that is on its way to a limit: how long is left.
 *
 * Problem: a limit says that it is late. Whoever is woken needs to know whether there are two hours or twenty.
 *
 * Method. A heat balance of the tank is learnt from its own quiet days (`src/physics/thermal/`): what heaters, chillers and measured lights put in or take out, the
 * temperature of water and room, a quarter of a day at a time, the last ten days of them; beside it how lights burn and how warm the room is by the hour, for a night without lamps, in a room
 * whose heating rests, decides whether a limit is reached. When the water has left the range that its thermostats and its habits hold for 20 to 30 min, it is asked, at most every five minutes,
 * how long it will take to the hard limit if everything that runs or stands goes on as it does; what was seen since the last switch corrects it. A chiller that runs while the water is too warm may
 * give all of its cooling, or none; with a return pump that stands nothing reaches the display from the sump.
 * Breached when that is `within` or less, it has been looked at for a tenth of the time that is left (an hour at most; the same where the pump stands), the water has moved that way by 0.2 K since, and in nine cases of ten it comes within twice `within`: nobody is woken for what may well not come.
 * Where display and sump have a thermometer each and the pump mixes the two, both must have left the range. Beyond the limit the limit speaks; what was forecast stays until the water is
 * back, since it is the same news. Over when the water is back in its range, or the limit is half as long again away as `within`, and not even the early end of the range
 * lies within it.
 *
 * What it does not claim: it takes three days of undisturbed quarters to learn, and is unknown until then; without a room thermometer an office is assumed and the range
 * is wider. A heater or chiller without a meter is a hole in the balance, and said to be missing.
 *
 * What must not ring: a thermostat that does its work (the range is left for that long only when it does not), a visit with everything off for an hour (0.3 K or so), a hot
 * afternoon that ends below the limit (the forecast finds that it never gets there). Changes at each switch of a heater, chiller, lamp or pump, and every 15 min.
 */
import { z } from 'zod';
import { HOUR, MINUTE, showDuration } from '../../domain/duration.ts';
import type { Equipment, EquipmentKind } from '../../domain/fleet.ts';
import { show } from '../../domain/units.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import type { Known } from '../../physics/known.ts';
import { BLOCK_MS, type OpenBlock, pack, type PackedBlock, type Sample, takeSample, unpack } from '../../physics/thermal/block.ts';
import { fitThermal, type ThermalFit } from '../../physics/thermal/fit.ts';
import { hoursUntil } from '../../physics/thermal/forecast.ts';
import type { Situation } from '../../physics/thermal/likely-tanks.ts';
import { likelyCapacityWhPerK, type ThermalFacts } from '../../physics/thermal/prior.ts';
import { beforeReachingIn, electricalWork, husbandry, slowCorrection } from '../cautions.ts';
import { type Band, defineRule, type Latest, type Proposal, type Quiet, type RuleContext, type RuleInput, type TankFacts } from '../contract.ts';
import { drawRoles } from '../draw.ts';
import { duration, supplyVolts } from '../settings.ts';
import { numberedMeters, readNumberedDraw, severalDrawRoles } from '../several-draws.ts';
import { LEAST_SUPPLY_VOLTS } from '../supply.ts';
import { unknown, whyNotCurrent } from '../unknown.ts';
import { hardLimitsC, roomTemperaturePoint, thermometerRoles, waterProposal } from '../water.ts';

const settings = z.strictObject({
  low: z.number().min(0).max(45).default(22).describe('Lower limit in °C to count the hours to; by itself the lower hard limit of the kind of water.'),
  high: z.number().min(0).max(45).default(29).describe('Upper limit in °C; by itself the upper hard limit of the kind of water.'),
  within: duration(HOUR, 72 * HOUR).default(12 * HOUR).describe('Rings when the limit is so near, such as 12h. Default 12 h.'),
  coldBelow: z.number().min(0).max(45).nullable().default(null).describe('Below this in °C the water has left its range; by itself 0.3 K below where the heaters should start, or else where the chiller should stop; in any case at least 0.6 K below the usual.'),
  warmAbove: z.number().min(0).max(45).nullable().default(null).describe('Above this in °C the water has left its range; by itself 0.3 K above where the chiller should start, or else where the heaters should stop; in any case at least 0.6 K above the usual.'),
  pumpWatts: z.number().min(0).nullable().default(null).describe('Draw in W of all pumps that run all day and warm the water; null: the sum of their nameplates, or unknown.'),
  supplyVolts,
});
type Settings = z.infer<typeof settings>;

const BLOCKS_KEPT = 40;
const SAMPLE_EVERY_MS = 15 * MINUTE;
/** Near the end of a quarter day, and away from the range. */
const SAMPLE_OFTEN_MS = 5 * MINUTE;
/** Colder for longer: a visit switches everything off for up to an hour. */
const LASTS_MS = { below: 30 * MINUTE, above: 20 * MINUTE } as const;
const MOVED_K = 0.2;
const CLEAR_K = 0.2;
const RANGE_K = 0.3;
/** So a probe or a dial that is off, and a tank that follows the season, do not leave their range. */
const USUAL_K = 0.6;
const BACK = 1.5;
/** Nobody is woken for what may well not come: in nine cases of ten it comes within so many times `within`. */
const SURE = 2;
const PATIENCE = 0.1;
/** Lights that draw less are out. */
const LIGHT_W = 5;
/** Faster between two samples is a water change or a probe in the air. */
const DISTURBED_K = 0.4;

const number = z.number();
const maybe = z.number().nullable();
const sampleShape = z.strictObject({ atMs: number, waterC: maybe, roomC: maybe, humidityPercent: maybe, heaterWatts: maybe, chillerWatts: maybe, lightWatts: maybe, disturbed: z.boolean() });
const openShape = z.strictObject({
  fromMs: number, startC: maybe, disturbed: z.boolean(), last: sampleShape, coveredH: number, waterCh: number, roomH: number, roomCh: number, humidH: number, humidPercentH: number,
  heaterWh: number, chillerWh: number, lightWh: number, tailSumC: number, tailCount: number,
});

const course = z.array(maybe).length(24).nullable().default(null);

const state = z.strictObject({
  open: openShape.nullable(),
  blocks: z.array(z.tuple([number, number, number, maybe, maybe, number, number, number])).max(BLOCKS_KEPT),
  /** How measured lights burn (W), and how warm the room is, by hour of the day in UTC, while all is well. */
  lights: course,
  rooms: course,
  /** Nothing has switched since, and how warm the water was then. */
  steady: z.strictObject({ sinceMs: number, fromC: number, heaterWatts: number, chillerWatts: number, pumpsRun: z.boolean() }).nullable(),
  /** Out of its range, on this side, since. */
  side: z.enum(['below', 'above']).nullable(),
  sideSinceMs: maybe,
  forecast: z.strictObject({ atMs: number, waterC: number, hours: number, low: number, high: maybe }).nullable(),
  breached: z.boolean(),
  /** Why it does not know, as of the last look. */
  why: z.string().nullable(),
});
type State = z.infer<typeof state>;

export default defineRule<Settings, State>({
  kind: 'temperature-forecast',
  watchesFor: 'Water that is on its way to a limit, and how long is left.',
  settings,
  state,
  initial: { open: null, blocks: [], lights: null, rooms: null, steady: null, side: null, sideSinceMs: null, forecast: null, breached: false, why: 'has not been looked at yet' },
  policy: { priority: 'urgent', onDelayMs: 0, offDelayMs: 15 * MINUTE },

  apply: (facts) => [proposalFor(facts)],

  objection({ low, high }) {
    return low < high ? null : { key: 'low', message: `low (${low}) must be below high (${high})` };
  },

  step(before, input, context) {
    const water = context.current('water');
    if (water === null) return { state: before, verdict: unknown(whyNotCurrent(context, 'water')) };
    const state = isDue(before, input, context) ? look(before, water, context) : before;
    const quiet = quietOf(state, context);
    if (state.why !== null) return { state, verdict: unknown(state.why), quiet };
    return { state, verdict: state.breached ? breached(state, context) : clear, quiet };
  },

  firstChecks(advice) {
    return [
      'The hours hold only if everything goes on as it is: whoever is on site can win time. Ask whether power and pumps are on.',
      'Compare with an independent thermometer, and see that the probe hangs in the water.',
      beforeReachingIn(advice),
      'Cooling down: close lids, keep air moving through the water rather than over it, bring a spare heater, warm the room. Warming up: switch off a heater that should not run, lamps off, lids open, a fan over the water.',
      slowCorrection,
      electricalWork,
      husbandry,
    ];
  },
});

const ofKind = (facts: TankFacts, kind: EquipmentKind): readonly Equipment[] => facts.equipment.filter((piece) => piece.kind === kind);
const hasMeter = (facts: TankFacts, piece: Equipment): boolean => Object.keys(drawRoles(facts, piece)).length > 0;

function proposalFor(facts: TankFacts): Proposal {
  const proposal = waterProposal(facts, 'on its way to a limit');
  const room = roomTemperaturePoint(facts);
  const humidity = facts.points.find(({ kind, tankId }) => kind === 'humidity' && (tankId === facts.tank.id || tankId === null));
  const mains = facts.points.find(({ kind, tankId, equipmentId }) => kind === 'voltage' && tankId === null && equipmentId === null);
  const heaters = ofKind(facts, 'heater');
  const chillers = ofKind(facts, 'chiller');
  const unmetered = [...heaters, ...chillers].filter((piece) => !hasMeter(facts, piece));
  const missing = proposal.missing
    ?? (heaters.length + chillers.length === 0 ? 'no heater or chiller is entered to learn a heat balance from' : null)
    ?? (unmetered.length > 0 ? `no power, current, energy or switch point on ${unmetered.map(({ name }) => name).join(' and ')}: a hole in the heat balance` : null);
  const starts = heaters.flatMap(({ setpointC, bandK }) => (setpointC === null ? [] : [setpointC - (bandK ?? 0)]));
  const stops = heaters.flatMap(({ setpointC, bandK }) => (setpointC === null ? [] : [setpointC + (bandK ?? 0)]));
  const cools = chillers.flatMap(({ setpointC, bandK }) => (setpointC === null ? [] : [setpointC + (bandK ?? 0)]));
  // Without a heater, what should hold it from below is the chiller that stops.
  const rests = chillers.flatMap(({ setpointC, bandK }) => (setpointC === null ? [] : [setpointC - (bandK ?? 0)]));
  const holds = starts.length > 0 ? Math.max(...starts) : rests.length > 0 ? Math.min(...rests) : null;
  const rounded = (celsius: number): number => Math.round(celsius * 100) / 100;
  return {
    ...proposal,
    roles: {
      ...thermometerRoles(facts),
      ...(room === null ? {} : { room: room.id }),
      ...(humidity === undefined ? {} : { humidity: humidity.id }),
      ...(mains === undefined ? {} : { mains: mains.id }),
      ...severalDrawRoles(facts, heaters, 'heater'),
      ...severalDrawRoles(facts, chillers, 'chiller'),
      ...severalDrawRoles(facts, ofKind(facts, 'light').filter((light) => hasMeter(facts, light)), 'light'),
      ...severalDrawRoles(facts, movingPumps(facts).filter((pump) => hasMeter(facts, pump)), 'pump'),
    },
    missing,
    defaults: {
      pumpWatts: pumpWattsOf(facts),
      ...hardLimitsC[facts.tank.water],
      coldBelow: holds === null ? null : rounded(holds - RANGE_K),
      warmAbove: cools.length > 0 ? rounded(Math.min(...cools) + RANGE_K) : stops.length === 0 ? null : rounded(Math.max(...stops) + RANGE_K),
    },
  };
}

/** Those without which the water stands: where there is no return pump, whatever turns it over (a filter's pump). */
function movingPumps(facts: TankFacts): readonly Equipment[] {
  const returns = ofKind(facts, 'return-pump');
  return returns.length > 0 ? returns : ofKind(facts, 'circulation-pump');
}

/** Nameplates of the pumps that run all day in the water; `null` where one is missing. */
function pumpWattsOf(facts: TankFacts): number | null {
  const pumps = [...ofKind(facts, 'return-pump'), ...ofKind(facts, 'circulation-pump')];
  const watts = pumps.flatMap(({ nameplateWatts }) => (nameplateWatts === null ? [] : [nameplateWatts]));
  return pumps.length === 0 || watts.length < pumps.length ? null : watts.reduce((sum, one) => sum + one, 0);
}

/** Until the next look is due, while no meter moves by half of what a switch is. Counters may always tell of one. */
function quietOf({ open, side, sideSinceMs, forecast, steady }: State, context: RuleContext<Settings>): Quiet | undefined {
  if (open === null || steady === null) return undefined;
  const within: Record<string, Band> = {};
  for (const prefix of ['heater', 'chiller', 'light', 'pump'] as const) {
    for (let number = 1; ; number += 1) {
      const draw = readNumberedDraw(context, prefix, number, context.settings.supplyVolts);
      if (draw === null) break;
      if (draw.by !== 'power' && draw.by !== 'current') return undefined;
      for (const [role, { value }] of numberedMeters(context, prefix, number)) {
        const each = Math.max(0.45 * leastSwitch(role), 0.09 * Math.abs(value));
        within[role] = [value - each, value + each];
      }
    }
  }
  const { nowMs } = context;
  const oftenMs = open.last.atMs + SAMPLE_OFTEN_MS;
  const isNews = side !== null && (forecast !== null || nowMs - (sideSinceMs ?? 0) < HOUR);
  const blockEndsMs = nowMs + BLOCK_MS - (nowMs % BLOCK_MS);
  return { untilMs: isNews ? oftenMs : Math.min(open.last.atMs + SAMPLE_EVERY_MS, Math.max(oftenMs, blockEndsMs - SAMPLE_EVERY_MS)), within };
}

/** Most readings change nothing: a look is due when something has switched, or some minutes have passed. */
function isDue({ open, side, sideSinceMs, forecast, steady }: State, input: RuleInput, context: RuleContext<Settings>): boolean {
  if (open === null) return true;
  const ageMs = context.nowMs - open.last.atMs;
  const leftMs = BLOCK_MS - (context.nowMs % BLOCK_MS);
  const isNews = side !== null && (forecast !== null || context.nowMs - (sideSinceMs ?? 0) < HOUR);
  if (ageMs >= (isNews || leftMs <= SAMPLE_EVERY_MS ? SAMPLE_OFTEN_MS : SAMPLE_EVERY_MS)) return true;
  // Meters that have gone silent, or have come back.
  if (input.type === 'wake' || (steady === null && input.role.includes('.'))) return drawsAreKnown(context) !== (steady !== null);
  if (!input.role.includes('.') || input.role.endsWith('.energy') || input.role.endsWith('.voltage')) return false;
  const previous = context.previous(input.role);
  return previous === null || hasSwitched(previous.value, input.value, input.role);
}

const drawsAreKnown = (context: RuleContext<Settings>): boolean => wattsOf('heater', context).watts !== null && wattsOf('chiller', context).watts !== null;

/** By more than a fifth, and than 5 W or 0.05 A: what is off flickers by some tenths. */
function hasSwitched(before: number, now: number, role: string): boolean {
  return Math.abs(now - before) > Math.max(leastSwitch(role), 0.2 * Math.max(Math.abs(before), Math.abs(now)));
}

const leastSwitch = (role: string): number => (role.endsWith('.power') ? 5 : role.endsWith('.current') ? 0.05 : 0.5);

function look(before: State, water: Latest, context: RuleContext<Settings>): State {
  const heating = wattsOf('heater', context);
  const cooling = wattsOf('chiller', context);
  const lights = wattsOf('light', context);
  const pumpsRun = runsWhereMeasured(context);
  const room = context.current('room');
  const last = before.open?.last ?? null;
  const isJump = last !== null && last.waterC !== null && Math.abs(water.value - last.waterC) > DISTURBED_K;
  const sample: Sample = {
    atMs: context.nowMs, waterC: water.value, roomC: room?.value ?? null, humidityPercent: context.current('humidity')?.value ?? null,
    heaterWatts: heating.watts, chillerWatts: cooling.watts, lightWatts: lights.watts,
    disturbed: isJump || !pumpsRun || isSuspect(before.side, heating.watts, cooling.watts),
  };
  const remembered = rememberCourse(remember(before, sample), sample);
  const why = heating.why ?? cooling.why;
  if (heating.watts === null || cooling.watts === null || why !== null) return settle({ ...remembered, steady: null, why: why ?? 'its heaters and chillers do not tell what they draw' }, before);
  // With a return pump that stands, what heats or cools in the sump does not reach the display.
  const reaches = pumpsRun || context.tank.sumpLitres === 0 || context.point('water')?.place !== 'display';
  const heaterWatts = reaches ? heating.watts : 0;
  const chillerWatts = reaches ? cooling.watts : 0;
  const held = last === null || context.nowMs - last.atMs > 2 * SAMPLE_EVERY_MS ? null : before.steady;
  const steady = held !== null && held.pumpsRun === pumpsRun && isAlike(held.heaterWatts, heaterWatts) && isAlike(held.chillerWatts, chillerWatts)
    ? held
    : { sinceMs: context.nowMs, fromC: water.value, heaterWatts: Math.round(heaterWatts), chillerWatts: Math.round(chillerWatts), pumpsRun };
  const fit = fitOf(remembered.blocks, context);
  if (!fit.known) return settle({ ...remembered, steady, why: `learning its heat balance: ${fit.why}`, forecast: null, breached: false }, before);
  return settle(foresee({ ...remembered, steady, why: null }, { ...sample, heaterWatts, chillerWatts }, water, fit.value, context), before);
}

/** Nothing is learnt from water that is out of its range although, or because, something draws: what draws may be what has failed. */
function isSuspect(side: State['side'], heaterWatts: number | null, chillerWatts: number | null): boolean {
  return side === 'below' || (side === 'above' && ((heaterWatts ?? 0) > 10 || (chillerWatts ?? 0) > 15));
}

/** The same object where nothing is different. */
function settle(state: State, before: State): State {
  const isSame = state.open === before.open && state.blocks === before.blocks && state.lights === before.lights && state.rooms === before.rooms && state.steady === before.steady && state.side === before.side
    && state.sideSinceMs === before.sideSinceMs && state.forecast === before.forecast && state.breached === before.breached && state.why === before.why;
  return isSame ? before : state;
}

const isAlike = (before: number, now: number): boolean => Math.abs(now - before) <= Math.max(10, 0.2 * before);

function remember(before: State, sample: Sample): State {
  const { open, closed } = takeSample(before.open, sample);
  const kept: OpenBlock = open;
  if (kept === before.open) return before;
  return { ...before, open: kept, blocks: closed === null ? before.blocks : [...before.blocks, [...pack(closed)] as State['blocks'][number]].slice(-BLOCKS_KEPT) };
}

/** Sum over all pieces of a sort; `null` with the reason when one is not known. */
function wattsOf(sort: 'heater' | 'chiller' | 'light', context: RuleContext<Settings>): { readonly watts: number | null; readonly why: string | null } {
  let watts = 0;
  for (let number = 1; ; number += 1) {
    const draw = readNumberedDraw(context, sort, number, context.settings.supplyVolts);
    if (draw === null) return { watts, why: null };
    if (draw.by === null) return { watts: null, why: draw.why };
    if (draw.by === 'switch') {
      if (draw.on) return { watts: null, why: `a ${sort} tells only that it is switched on, not what it draws` };
    } else watts += Math.max(0, draw.watts);
  }
}

/** Pumps whose meters are silent are not known to stand. */
function runsWhereMeasured(context: RuleContext<Settings>): boolean {
  for (let number = 1; ; number += 1) {
    const draw = readNumberedDraw(context, 'pump', number, context.settings.supplyVolts);
    if (draw === null) return true;
    if (draw.by === 'switch' ? !draw.on : draw.by !== null && draw.watts + draw.marginWatts < 5) return false;
  }
}

/** A fit takes milliseconds and follows from the blocks alone, which change every six hours: reckoned once for each list of them. */
const fits = new WeakMap<State['blocks'], Known<ThermalFit>>();

function fitOf(blocks: State['blocks'], context: RuleContext<Settings>): Known<ThermalFit> {
  const known = fits.get(blocks);
  if (known !== undefined) return known;
  const { tank } = context;
  const salinity = tank.water === 'fresh' ? 0 : 35;
  const facts: ThermalFacts = {
    capacityWhPerK: likelyCapacityWhPerK(tank.displayLitres, tank.sumpLitres, salinity, 25),
    pumpWatts: context.settings.pumpWatts,
    insulated: tank.water === 'cold',
    evaporationLitresPerDay: null,
    roomMeasured: context.point('room') !== null,
  };
  const fit = fitThermal(blocks.map((block: PackedBlock) => unpack(block)), null, facts);
  fits.set(blocks, fit);
  return fit;
}

type Drawn = Sample & { readonly heaterWatts: number; readonly chillerWatts: number };

function foresee(before: State, sample: Drawn, water: Latest, fit: ThermalFit, context: RuleContext<Settings>): State {
  const { nowMs, settings } = context;
  const side = sideOf(water.value, fit, settings);
  const limitC = side === 'below' ? settings.low : settings.high;
  // As the limit has it: back only when it is clear of it.
  const clearK = before.breached ? CLEAR_K : 0;
  const isPast = side === 'below' ? water.value <= limitC + clearK : water.value >= limitC - clearK;
  if (side !== null && isPast && before.breached && (before.forecast?.hours === 0 || (side === 'below' ? water.value <= limitC : water.value >= limitC))) return { ...before, side, forecast: { atMs: nowMs, waterC: water.value, hours: 0, low: 0, high: 0 } };
  if (side === null || (isPast && !before.breached)) return { ...before, side, sideSinceMs: side === null ? null : before.side === side ? before.sideSinceMs : nowMs, forecast: null, breached: false };
  const sideSinceMs = before.side === side ? before.sideSinceMs ?? nowMs : nowMs;
  const now = { ...before, side, sideSinceMs };
  if (nowMs - sideSinceMs < LASTS_MS[side] || now.steady === null) return { ...now, forecast: null, breached: false };
  const { steady } = now;
  const second = steady.pumpsRun ? context.current('second') : null;
  if (second !== null && sideOf(second.value, fit, settings) !== side) return { ...now, forecast: null, breached: false };
  const movedK = (water.value - steady.fromC) * (side === 'above' ? 1 : -1);
  const hoursSeen = (nowMs - steady.sinceMs) / HOUR;
  const roomByHourC = whole(before.rooms);
  const estimate = hoursUntil(fit, {
    atMs: nowMs, waterC: water.value, roomC: sample.roomC, humidityPercent: sample.humidityPercent,
    heaterWatts: sample.heaterWatts, chillerWatts: sample.chillerWatts, chillerInDoubt: side === 'above' && sample.chillerWatts > 0, ...lightsAhead(before, sample, steady.pumpsRun, context.current('mains')?.value ?? null), ...(roomByHourC === null ? {} : { roomByHourC }), pumpsRun: steady.pumpsRun,
    ...(hoursSeen >= 0.25 ? { seen: { hours: hoursSeen, fromC: steady.fromC } } : {}),
  }, side, limitC);
  if (!estimate.known) return { ...now, forecast: null, breached: false, why: estimate.why };
  const { value, low, high } = estimate.value;
  const { within } = settings;
  const isNear = movedK >= MOVED_K && value * HOUR <= within && high * HOUR <= SURE * within;
  // No longer than a tenth of the time that is left, and what says more about it than this speaks first; with everything off for less than an hour somebody may be working on the tank.
  const patient = nowMs - sideSinceMs >= Math.min(HOUR, PATIENCE * value * HOUR) && (steady.pumpsRun || nowMs - steady.sinceMs >= HOUR);
  const breached = before.breached ? value * HOUR <= BACK * within || low * HOUR <= within : isNear && patient;
  if (!Number.isFinite(value) || !Number.isFinite(low)) return { ...now, forecast: null, breached: false };
  const tenth = (hours: number): number => Math.round(hours * 10) / 10;
  return { ...now, forecast: { atMs: nowMs, waterC: water.value, hours: tenth(value), low: tenth(low), high: Number.isFinite(high) ? tenth(high) : null }, breached };
}

function sideOf(celsius: number, fit: ThermalFit, { coldBelow, warmAbove }: Settings): State['side'] {
  if (celsius < Math.min(coldBelow ?? Number.POSITIVE_INFINITY, fit.waterC - USUAL_K)) return 'below';
  return celsius > Math.max(warmAbove ?? Number.NEGATIVE_INFINITY, fit.waterC + USUAL_K) ? 'above' : null;
}

/** What is burning while something is wrong is not usual. */
function rememberCourse(state: State, { atMs, lightWatts, roomC, disturbed }: Sample): State {
  if (disturbed || state.side !== null) return state;
  const hour = Math.floor(atMs / HOUR) % 24;
  // Lamps keep to their timer, rooms to the weather and the weekend: with four looks an hour the last day counts for two thirds, or two fifths.
  const lights = noted(state.lights, hour, lightWatts, 0.25, 0);
  const rooms = noted(state.rooms, hour, roomC, 0.125, 1);
  return lights === state.lights && rooms === state.rooms ? state : { ...state, lights, rooms };
}

function noted(course: State['lights'], hour: number, value: number | null, share: number, digits: number): State['lights'] {
  if (value === null) return course;
  const usual = course?.[hour] ?? null;
  const next = Number((usual === null ? value : usual + share * (value - usual)).toFixed(digits)) + 0;
  return next === usual ? course : (course ?? new Array<number | null>(24).fill(null)).map((one, at) => (at === hour ? next : one));
}

/** `null` until every hour of a day is known. */
function whole(course: State['lights']): readonly number[] | null {
  const known = course?.filter((one) => one !== null) ?? [];
  return known.length < 24 ? null : known;
}

/** As they burn by the hour, once a day of that is known. Lights that are out although they usually burn now stay out, and all of them where the supply is gone: pumps stand, and no voltage says otherwise. */
function lightsAhead({ blocks, lights }: State, { atMs, lightWatts }: Sample, pumpsRun: boolean, mainsVolts: number | null): Pick<Situation, 'lightWatts' | 'lightByHourWatts'> {
  const byHour = whole(lights);
  const isOut = lightWatts !== null && lightWatts < LIGHT_W;
  const isGone = mainsVolts === null ? !pumpsRun : mainsVolts < LEAST_SUPPLY_VOLTS;
  const hour = Math.floor(atMs / HOUR) % 24;
  // At the edges of an hour a timer is no fault.
  const burnsNow = [hour, (hour + 23) % 24, (hour + 1) % 24].every((one) => (byHour?.[one] ?? 0) >= LIGHT_W);
  if (isOut && (isGone || burnsNow)) return { lightWatts: 0 };
  if (byHour === null) return { lightWatts: usualLightWatts(blocks) };
  return { lightWatts: byHour.reduce((sum, watts) => sum + watts, 0) / 24, lightByHourWatts: byHour };
}

/** Mean over the last day that is known. */
function usualLightWatts(blocks: State['blocks']): number {
  const last = blocks.slice(-4);
  return last.reduce((sum, block) => sum + block[7], 0) / Math.max(1, last.length);
}

function breached({ side, sideSinceMs, forecast, steady, blocks }: State, context: RuleContext<Settings>): Verdict {
  const { settings, nowMs } = context;
  if (forecast === null || steady === null) return clear;
  const limitC = side === 'below' ? settings.low : settings.high;
  const range = forecast.high === null ? `${forecast.low.toFixed(1)} h or more, or never` : `${forecast.low.toFixed(1)} to ${forecast.high.toFixed(1)} h`;
  const fit = fitOf(blocks, context);
  const room = context.current('room');
  const evidence: Evidence[] = [
    { label: 'Water', value: forecast.waterC, kind: 'temperature', atMs: forecast.atMs },
    { label: side === 'below' ? 'Lower limit' : 'Upper limit', value: limitC, kind: 'temperature' },
    { label: 'Reached in about', value: `${forecast.hours.toFixed(1)} h; in four cases of five ${range}`, atMs: forecast.atMs },
    { label: 'Out of its range for', value: showDuration(nowMs - (sideSinceMs ?? nowMs)), atMs: sideSinceMs ?? nowMs },
    { label: 'Nothing has switched since', value: show('temperature', steady.fromC), atMs: steady.sinceMs },
    { label: steady.pumpsRun ? 'Heaters draw' : 'Heaters give the water', value: steady.heaterWatts, kind: 'power' },
    { label: steady.pumpsRun ? 'Chillers draw' : 'Chillers take from it, as draw', value: steady.chillerWatts, kind: 'power' },
    room === null ? { label: 'Room', value: 'not measured, 21.5 °C assumed' } : { label: 'Room', value: room.value, kind: 'temperature', atMs: room.atMs },
  ];
  if (!steady.pumpsRun) evidence.push({ label: 'Pump', value: context.tank.sumpLitres > 0 ? 'stands: what heats or cools in the sump does not reach the display' : 'stands' });
  if (fit.known && fit.value.doubt === null) evidence.push({ label: 'This tank loses, for each kelvin', value: `${fit.value.lossWPerK.value.toFixed(0)} W (${fit.value.lossWPerK.low.toFixed(0)} to ${fit.value.lossWPerK.high.toFixed(0)}), learnt from ${fit.value.blocks} quarter days` });
  if (forecast.hours === 0) return { state: 'breached', summary: `limit ${show('temperature', limitC)} is passed, as was forecast: the water is at ${show('temperature', forecast.waterC)}`, evidence: evidence.filter(({ label }) => label !== 'Reached in about'), side: side === 'below' ? 'low' : 'high' };
  return { state: 'breached', summary: `limit ${show('temperature', limitC)} in about ${forecast.hours < 10 ? forecast.hours.toFixed(1) : forecast.hours.toFixed(0)} h, 80 % range ${range}, if nothing changes; the water is at ${show('temperature', forecast.waterC)} and ${side === 'below' ? 'cooling' : 'warming'}`, evidence, side: side === 'below' ? 'low' : 'high' };
}
