/**
 * A heater that goes on drawing power although the water is as warm as its thermostat should ever let it get.
 *
 * Problem: a welded relay or a failed thermostat heats until the livestock dies. The temperature limit rings when it is nearly too late; the
 * draw together with the temperature tells hours earlier.
 *
 * Method. A thermostat that works must switch off when the water reaches setpoint + band (`line`). Drawing above the line is explained by
 *   1. lag: the thermostat sits elsewhere than the probe, and water mixes slowly. Allowed: the time in which the heater at full power,
 *      loss-free, warms all of the water by one band, held between 10 and 60 min (or the setting `lag`);
 *   2. a probe that reads high: digital probes are good to ± 0.5 °C (common practice). As long as the heater has not been seen switching off
 *      three times, up to `probeTolerance` above the line counts as explained; afterwards only as far as it has usually switched off (the median of
 *      the last nine switch-offs) + 0.1 K. This is how an offset of the probe, or of the dial, is learnt instead of paged.
 * Breached when it draws without pause
 *   - for longer than the lag above what a probe's offset explains, or
 *   - above the line for longer than the lag plus the time a working heater would need to carry the water through the probe's tolerance at half of
 *     its loss-free rate (30 min to 3 h). A stuck heater that outpaces this leaves through the first door; one that does not has
 *     met its losses, and is found here: drawing without end, at a temperature at which a thermostat would have switched off.
 *
 * Where a chiller runs at the same time, 10 min of both above the line are enough: it holds the water where the first two doors wait for it to go, and no thermostat heats there.
 * Over when the water has cooled below the line, or has stayed warm for a day with the heater resting: a dial that is turned up lets it pause.
 *
 * Where display and sump have a thermometer each, both must say so (`waterBy`).
 *
 * What must not ring: a warm room with the heater off (no draw); a few watts of standby (drawing begins at a fifth of the nameplate, at least 10 W); a
 * single odd meter reading (a pause counts from two minutes on); noise of the probe around the line (0.1 K of hysteresis); readings before and
 * after a silence (the count starts again, unless it had rung). What it cannot see: a stuck heater too weak for the room, which never reaches the line;
 * and one in the sump of a tank whose return pump stands still, while the temperature is measured in the display (`return-pump-stopped` rings for that).
 *
 * Heat capacity: density and specific heat after UNESCO TP44 (`src/physics/seawater.ts`) times the nominal volume. The forecast is a bound, "not before":
 * loss-free, and for four fifths of the nominal volume, since rock and a low fill leave less water than the name says (common practice). Heat of
 * pumps, lamps and the room comes on top; it says "by this heater alone".
 */
import { z } from 'zod';
import { HOUR, MINUTE, showDuration } from '../../domain/duration.ts';
import type { Equipment, Tank } from '../../domain/fleet.ts';
import { show } from '../../domain/units.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { lossFreeHours } from '../../physics/heat.ts';
import { beforeReachingIn, electricalWork, husbandry, slowCorrection } from '../cautions.ts';
import { defineRule, type Latest, type Quiet, type RuleContext, type RuleInput } from '../contract.ts';
import { type Draw, drawRoles, isDrawing, missingDraw, readDraw, showDraw, tooCoarse } from '../draw.ts';
import { keptMedian } from '../median.ts';
import { between, quietWithin, sameDraw } from '../quiet.ts';
import { chillerOnWatts, heaterOnWatts, isRunning } from '../running.ts';
import { readNumberedDraw, severalDrawRoles } from '../several-draws.ts';
import { duration, supplyVolts } from '../settings.ts';
import { cameBackFromSilence } from '../step.ts';
import { unknown, whyNotCurrent } from '../unknown.ts';
import { hardLimitsC, roleOf, tankHeatCapacityWhPerK, thermometerRoles, waterBy, waterTemperaturePoint } from '../water.ts';

const settings = z.strictObject({
  lag: duration(MINUTE, 6 * HOUR).nullable().default(null)
    .describe('How long the thermostat may lag behind the measured temperature, such as 20m; null: reckoned from nameplate and volume, 10 to 60 min.'),
  probeTolerance: z.number().min(0).max(2).default(0.5).describe('By how many kelvin the temperature probe may read high. Default 0.5.'),
  high: z.number().min(0).max(45).default(29).describe('Temperature in °C up to which the forecast counts the hours; by itself the upper hard limit of the kind of water.'),
  chillerOnWatts: z.number().positive().default(15).describe('Draw in W from which a chiller of the tank counts as running; by itself a tenth of the largest nameplate, at least 15.'),
  supplyVolts,
});
type Settings = z.infer<typeof settings>;

const state = z.strictObject({
  /** Drawing in every reading since, pauses under two minutes aside. */
  drawingSinceMs: z.number().nullable(),
  /** Not drawing since, in a pause that is not long enough yet to end the run. */
  pauseSinceMs: z.number().nullable(),
  pauseC: z.number().nullable(),
  /** Drawing with the water above the line since, and how warm it was then. */
  aboveSinceMs: z.number().nullable(),
  aboveFromC: z.number().nullable(),
  /** Drawing with the water above what a probe's offset explains since. */
  beyondSinceMs: z.number().nullable(),
  /** Drawing above the line while a chiller runs, since. */
  againstSinceMs: z.number().nullable().default(null),
  /** Stays until the water has cooled, or the heater has rested for a day. */
  breached: z.boolean(),
  /** Found, and not drawing since. */
  stoppedMs: z.number().nullable(),
  /** Found, and the water below the line since. */
  coolSinceMs: z.number().nullable(),
  /** How far from the line the heater has switched off of late, K, oldest first. */
  switchOffsK: z.array(z.number()).max(9),
});
type State = z.infer<typeof state>;

const idle = { drawingSinceMs: null, pauseSinceMs: null, pauseC: null, aboveSinceMs: null, aboveFromC: null, beyondSinceMs: null, againstSinceMs: null, breached: false, stoppedMs: null, coolSinceMs: null } as const;
const cooled = { aboveSinceMs: null, aboveFromC: null, beyondSinceMs: null, againstSinceMs: null, breached: false, stoppedMs: null, coolSinceMs: null } as const;
/** Rested for so long with the water still warm, it is the room that warms it. */
const REST_MS = 24 * HOUR;
/** A probe that hangs in the air during a visit shows no cooled water. */
const COOL_MS = 15 * MINUTE;

const PAUSE_MS = 2 * MINUTE;
const NOISE_K = 0.1;
const AGAINST_MS = 10 * MINUTE;
const SWITCH_OFFS_KEPT = 9;
const SWITCH_OFFS_NEEDED = 3;

export default defineRule<Settings, State>({
  kind: 'heater-stuck-on',
  watchesFor: 'A heater that draws power although the water is above its setpoint and band.',
  settings,
  state,
  initial: { ...idle, switchOffsK: [] },
  policy: { priority: 'urgent', onDelayMs: 0, offDelayMs: 5 * MINUTE },

  apply(facts) {
    const water = waterTemperaturePoint(facts);
    const chillers = facts.equipment.filter(({ kind }) => kind === 'chiller');
    return facts.equipment.filter(({ kind }) => kind === 'heater').map((heater) => ({
      subject: heater.id,
      title: `${heater.name} stuck on`,
      roles: { ...thermometerRoles(facts), ...drawRoles(facts, heater), ...severalDrawRoles(facts, chillers, 'chiller') },
      equipment: heater,
      missing: heater.setpointC === null
        ? `no setpoint is entered for ${heater.name}`
        : water === null ? 'no temperature point in the display or the sump' : missingDraw(facts, heater),
      defaults: { high: hardLimitsC[facts.tank.water].high, chillerOnWatts: Math.max(...[null, ...chillers].map(chillerOnWatts)) },
    }));
  },

  step(before, input, context) {
    const water = waterBy(context, 'coldest');
    if (water === null) return { state: afterSilence(before), verdict: unknown(whyNotCurrent(context, 'water')) };
    const draw = readDraw(context, context.settings.supplyVolts);
    if (draw.by === null) return { state: afterSilence(before), verdict: unknown(draw.why) };
    const drawing = isDrawing(draw, heaterOnWatts(context.equipment));
    const lineC = lineOf(context);
    if (drawing === null) return { state: before, verdict: water.value >= lineC ? unknown(tooCoarse) : clear };

    const from = isFirstAfterSilence(input, draw, context) ? afterSilence(before) : before;
    const next = drawing ? whileDrawing(from, water, draw, lineC, context) : whileOff(from, water, draw, lineC, context);
    return { state: next, verdict: next.breached ? breached(next, water, draw, lineC, context) : clear, quiet: quietOf(next, drawing, water, draw, lineC, context) };
  },

  // The least; a large tank with a small heater is given up to an hour.
  surelyAfterMs: ({ lag }) => lag ?? 10 * MINUTE,

  firstChecks(advice) {
    const { equipment } = advice;
    const name = equipment?.name ?? 'the heater';
    return [
      `Is the water really that warm? Compare with an independent thermometer. Then see whether the dial of ${name} stands where the fleet file says (${show('temperature', equipment?.setpointC)}).`,
      beforeReachingIn(advice),
      `If the water is too warm and ${name} still heats: have somebody on site switch it off, at the breaker if its plug or outlet is wet. Leave it in the water to cool for 15 minutes before it is lifted out (common practice).`,
      'See that the water moves: a stopped return pump keeps the heat in the sump. Open lids and raise surface movement to lose heat and keep oxygen up.',
      slowCorrection,
      `Do not put ${name} back to use after a stuck thermostat or relay; replace it. See that a second heater or the chiller is set at least 1 °C apart (common practice).`,
      electricalWork,
      husbandry,
    ];
  },
});

/** While it draws with the water below the line, or rests. */
function quietOf(state: State, drawing: boolean, water: Latest, draw: Draw, lineC: number, context: RuleContext<Settings>): Quiet | undefined {
  const draws = sameDraw(draw, [heaterOnWatts(context.equipment)]);
  if (draws === null || state.breached || state.stoppedMs !== null || state.pauseSinceMs !== null || state.aboveSinceMs !== null) return undefined;
  if (!drawing) return state.drawingSinceMs === null ? quietWithin(draws) : undefined;
  return state.drawingSinceMs === null || water.value >= lineC ? undefined : quietWithin({ ...draws, [roleOf(water, context)]: between(water.value, lineC) });
}

function lineOf({ equipment }: RuleContext<Settings>): number {
  return (equipment?.setpointC ?? Number.NaN) + (equipment?.bandK ?? 0);
}

/** One of them is enough; a meter that does not tell is no witness. */
function chillerRuns(context: RuleContext<Settings>): boolean {
  for (let number = 1; ; number += 1) {
    const draw = readNumberedDraw(context, 'chiller', number, context.settings.supplyVolts);
    if (draw === null) return false;
    if (draw.by !== null && isRunning(draw, context.settings.chillerOnWatts) === true) return true;
  }
}

/** Nobody saw what happened during a silence: "without pause" starts again after it, unless it has rung already. */
function afterSilence(before: State): State {
  return before.drawingSinceMs === null || before.breached ? before : { ...before, ...idle };
}

/** A silence that no wake-up has noticed, since nobody was watching. */
function isFirstAfterSilence(input: RuleInput, draw: Draw, context: RuleContext<Settings>): boolean {
  return input.type === 'reading' && (input.role === 'water' || input.role === draw.by) && cameBackFromSilence(context, input.role);
}

function whileDrawing(from: State, water: Latest, draw: Draw, lineC: number, context: RuleContext<Settings>): State {
  const { nowMs } = context;
  const running = from.drawingSinceMs !== null && from.pauseSinceMs === null
    ? from
    : { ...from, drawingSinceMs: from.drawingSinceMs ?? nowMs, pauseSinceMs: null, pauseC: null, stoppedMs: null, coolSinceMs: null };
  const isAbove = water.value >= (running.aboveSinceMs === null ? lineC : lineC - NOISE_K);
  if (!isAbove) {
    if (running.aboveSinceMs === null) return running;
    if (!running.breached) return { ...running, ...cooled };
    const coolSinceMs = running.coolSinceMs ?? nowMs;
    if (nowMs - coolSinceMs >= COOL_MS) return { ...running, ...cooled };
    return coolSinceMs === running.coolSinceMs ? running : { ...running, coolSinceMs };
  }

  const explainedC = lineC + explainedK(running.switchOffsK, context.settings.probeTolerance);
  const isBeyond = water.value >= (running.beyondSinceMs === null ? explainedC : explainedC - NOISE_K);
  const aboveSinceMs = running.aboveSinceMs ?? nowMs;
  const beyondSinceMs = isBeyond ? running.beyondSinceMs ?? nowMs : null;
  const againstSinceMs = water.value >= lineC + usualK(running.switchOffsK) && chillerRuns(context) ? running.againstSinceMs ?? nowMs : null;
  const isAgainst = againstSinceMs !== null && nowMs - againstSinceMs >= AGAINST_MS;
  const isBreached = running.breached || isAgainst || isUnexplained(aboveSinceMs, beyondSinceMs, draw, context);
  if (aboveSinceMs === running.aboveSinceMs && beyondSinceMs === running.beyondSinceMs && isBreached === running.breached && againstSinceMs === running.againstSinceMs && running.coolSinceMs === null) return running;
  return { ...running, coolSinceMs: null, aboveSinceMs, aboveFromC: running.aboveFromC ?? water.value, beyondSinceMs, againstSinceMs, breached: isBreached };
}

function whileOff(from: State, water: Latest, draw: Draw, lineC: number, { nowMs, settings: { probeTolerance: probeToleranceK } }: RuleContext<Settings>): State {
  if (from.stoppedMs !== null) return whileStopped(from, from.stoppedMs, water, lineC, nowMs);
  if (from.drawingSinceMs === null || draw.by === null) return from;
  if (from.pauseSinceMs === null) return { ...from, pauseSinceMs: draw.atMs, pauseC: water.value };
  // A dial that is turned up, or a relay that sticks now and then, lets go and begins again, with the water warm all the time: one alarm, until it has cooled.
  if (draw.atMs - from.pauseSinceMs >= PAUSE_MS && from.breached) return { ...from, drawingSinceMs: null, pauseSinceMs: null, pauseC: null, stoppedMs: from.pauseSinceMs };
  if (draw.atMs - from.pauseSinceMs >= PAUSE_MS) return { ...from, ...idle, switchOffsK: withSwitchOff(from, lineC, probeToleranceK) };
  return from.aboveSinceMs !== null && !from.breached && water.value < lineC - NOISE_K ? { ...from, ...cooled } : from;
}

function whileStopped(from: State, stoppedMs: number, water: Latest, lineC: number, nowMs: number): State {
  if (nowMs - stoppedMs >= REST_MS) return { ...from, ...idle };
  if (water.value >= lineC - NOISE_K) return from.coolSinceMs === null ? from : { ...from, coolSinceMs: null };
  if (from.coolSinceMs === null) return { ...from, coolSinceMs: nowMs };
  return nowMs - from.coolSinceMs >= COOL_MS ? { ...from, ...idle } : from;
}

/** A heater switched off by hand when it is much too warm teaches nothing about its thermostat, nor does one pulled while the water is cool. */
function withSwitchOff({ pauseC, switchOffsK, breached: hadRung }: State, lineC: number, probeToleranceK: number): number[] {
  const offK = (pauseC ?? Number.NaN) - lineC;
  if (hadRung || !(Math.abs(offK) <= Math.max(1, probeToleranceK))) return switchOffsK;
  return [...switchOffsK, Math.round(offK * 100) / 100].slice(-SWITCH_OFFS_KEPT);
}

/** How far above the line this heater usually switches off; 0 as long as that is not known. */
const usualK = (switchOffsK: readonly number[]): number => (switchOffsK.length < SWITCH_OFFS_NEEDED ? 0 : Math.max(0, keptMedian(switchOffsK) ?? 0));

/** How far above the line a heater that works may be seen drawing, because the probe reads high or the dial does. */
function explainedK(switchOffsK: readonly number[], probeToleranceK: number): number {
  const usual = switchOffsK.length >= SWITCH_OFFS_NEEDED ? keptMedian(switchOffsK) : null;
  return usual === null ? probeToleranceK : Math.min(probeToleranceK, Math.max(0, usual) + NOISE_K);
}

function isUnexplained(aboveSinceMs: number, beyondSinceMs: number | null, draw: Draw, context: RuleContext<Settings>): boolean {
  const lagMs = lagOf(draw, context);
  if (beyondSinceMs !== null && context.nowMs - beyondSinceMs >= lagMs) return true;
  return context.nowMs - aboveSinceMs >= lagMs + toleranceMsOf(draw, context);
}

function lagOf(draw: Draw, context: RuleContext<Settings>): number {
  if (context.settings.lag !== null) return context.settings.lag;
  return warmingMs(context.equipment?.bandK ?? 0, 1, draw, context, 10 * MINUTE, HOUR);
}

function toleranceMsOf(draw: Draw, context: RuleContext<Settings>): number {
  return warmingMs(context.settings.probeTolerance, 0.5, draw, context, 30 * MINUTE, 3 * HOUR);
}

/** Time to warm the tank by `kelvin` at a share of the loss-free rate, within bounds; the upper bound where no power is known. */
function warmingMs(kelvin: number, share: number, draw: Draw, context: RuleContext<Settings>, leastMs: number, mostMs: number): number {
  const watts = wattsOf(draw, context);
  if (watts === null) return mostMs;
  const hours = lossFreeHours(kelvin, watts * share, tankHeatCapacityWhPerK(context.tank));
  return Math.min(mostMs, Math.max(leastMs, hours * HOUR));
}

/** What it draws, or the nameplate where only a switch is known. */
function wattsOf(draw: Draw, { equipment }: RuleContext<Settings>): number | null {
  if (draw.by === 'power' || draw.by === 'current' || draw.by === 'energy') return draw.watts;
  return equipment?.nameplateWatts ?? null;
}

function breached(state: State, water: Latest, draw: Draw, lineC: number, context: RuleContext<Settings>): Verdict {
  const { nowMs, equipment, settings: { high } } = context;
  const aboveSinceMs = state.aboveSinceMs ?? nowMs;
  const drawingSinceMs = state.drawingSinceMs ?? nowMs;
  const watts = wattsOf(draw, context);
  const evidence: Evidence[] = [
    { label: 'Water', value: water.value, kind: 'temperature', atMs: water.atMs },
    { label: 'Should switch off at', value: lineC, kind: 'temperature' },
    drawEvidence(draw),
    ...(state.stoppedMs !== null
      ? [{ label: 'Not drawing for', value: showDuration(nowMs - state.stoppedMs), atMs: state.stoppedMs }]
      : drawingSinceMs === aboveSinceMs ? [] : [{ label: 'Drawing without pause for', value: showDuration(nowMs - drawingSinceMs), atMs: drawingSinceMs }]),
    { label: `${state.stoppedMs === null ? 'Drawing above' : 'Above'} the switch-off point for`, value: showDuration(nowMs - aboveSinceMs), atMs: aboveSinceMs },
    { label: 'A slow thermostat explains at most', value: showDuration(lagOf(draw, context)) },
  ];
  if (state.againstSinceMs !== null) evidence.push({ label: 'A chiller has cooled against it for', value: showDuration(nowMs - state.againstSinceMs), atMs: state.againstSinceMs });
  const hours = (nowMs - aboveSinceMs) / HOUR;
  if (state.aboveFromC !== null && hours > 0) evidence.push({ label: 'Warming since then', value: `${((water.value - state.aboveFromC) / hours).toFixed(2)} K/h` });
  const heats = watts !== null && watts > 0;
  if (heats) evidence.push(...forecast(water.value, watts, high, context.tank));
  const left = heats && state.stoppedMs === null && water.value < high ? `; by this heater alone ${show('temperature', high)} is at least ${showDuration(leastHours(water.value, watts, high, context.tank) * HOUR)} away` : '';
  return { state: 'breached', summary: `${whatItDoes(state, draw, nowMs - aboveSinceMs, nowMs, equipment)}, with the water at ${show('temperature', water.value)}: its thermostat should have stopped it at ${show('temperature', lineC)}${state.againstSinceMs === null ? '' : ', and a chiller cools against it'}${left}`, evidence };
}

function whatItDoes({ pauseSinceMs, stoppedMs }: State, draw: Draw, heldMs: number, nowMs: number, equipment: Equipment | null): string {
  const name = equipment?.name ?? 'the heater';
  if (stoppedMs !== null) return `${name} has drawn nothing for ${showDuration(nowMs - stoppedMs)}`;
  if (pauseSinceMs !== null) return `${name} has just stopped drawing, after ${showDuration(heldMs)}`;
  return `${name} ${draw.by === 'switch' ? 'has been switched on' : `draws ${showDraw(draw)} and has done so`} for ${showDuration(heldMs)}`;
}

function drawEvidence(draw: Draw): Evidence {
  if (draw.by === 'power' || draw.by === 'current' || draw.by === 'energy') return { label: draw.by === 'power' ? 'Draws' : `Draws (from the ${draw.by})`, value: draw.watts, kind: 'power', atMs: draw.atMs };
  return { label: 'Switch', value: showDraw(draw) };
}

/** Of the nominal volume, the share that is surely water. */
const SURE_WATER = 0.8;

function forecast(waterC: number, watts: number, highC: number, tank: Tank): readonly Evidence[] {
  const capacity = SURE_WATER * tankHeatCapacityWhPerK(tank);
  const rate: Evidence = { label: 'Warms by at most, by this heater alone', value: `${(watts / capacity).toFixed(2)} K/h` };
  if (waterC >= highC) return [rate, { label: `Above ${show('temperature', highC)}`, value: 'already' }];
  return [rate, { label: `Cannot reach ${show('temperature', highC)} by this heater alone in less than`, value: showDuration(leastHours(waterC, watts, highC, tank) * HOUR) }];
}

const leastHours = (waterC: number, watts: number, highC: number, tank: Tank): number => lossFreeHours(highC - waterC, watts, SURE_WATER * tankHeatCapacityWhPerK(tank));
