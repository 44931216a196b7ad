/**
 * A heater that draws nothing although the water is as cold as its thermostat should never let it get.
 *
 * Problem: a broken element, a tripped outlet, a plug pulled for cleaning and forgotten: the water cools for hours before it passes a limit, and all that
 * time a look would have told.
 *
 * Method. A thermostat that works must switch on when the water has cooled to setpoint − band (`line`). Not drawing below it is explained by a probe that
 * reads low, or a dial that is off: up to `probeTolerance` (digital probes are good to ± 0.5 °C, common practice) as long as the heater has not been seen switching on three times,
 * afterwards only as far below the line as it has usually switched on (median of the last nine) and 0.2 K more. Breached when it has drawn nothing for `lag` with
 * the water below that without pause. Over when it draws, or when the water has been at the setpoint for
 * a day and a half: a second heater may hold it just above the line, and a warm afternoon is no repair.
 *
 * Where display and sump have a thermometer each, both must say so (`waterBy`).
 *
 * What must not ring: equipment switched off during a visit (`lag` 1 h, which costs some 0.3 K), a probe in the air for minutes (it comes back),
 * a warm room (the water stays above the line), a second heater that does all the work (the same), standby watts (drawing begins at a fifth of the
 * nameplate). A silence starts the count again. What it cannot see: a heater whose dial is lower than the fleet file says; the limits watch that.
 */
import { z } from 'zod';
import { HOUR, MINUTE, showDuration } from '../../domain/duration.ts';
import { show } from '../../domain/units.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { beforeReachingIn, electricalWork, husbandry, slowCorrection } from '../cautions.ts';
import { defineRule, type Latest, type Quiet, type RuleContext, type RuleInput } from '../contract.ts';
import { type Draw, drawRoles, missingDraw, readDraw, showDraw, tooCoarse } from '../draw.ts';
import { keptMedian } from '../median.ts';
import { between, quietWithin, sameDraw } from '../quiet.ts';
import { heaterOnWatts, isRunning } from '../running.ts';
import { duration, supplyVolts } from '../settings.ts';
import { cameBackFromSilence } from '../step.ts';
import { unknown, whyNotCurrent } from '../unknown.ts';
import { hardLimitsC, roleOf, thermometerRoles, waterBy, waterTemperaturePoint } from '../water.ts';

const settings = z.strictObject({
  lag: duration(5 * MINUTE, 6 * HOUR).default(HOUR).describe('How long it may draw nothing with the water too cold, such as 45m: thermostats lag, and visits switch equipment off. Default 1 h.'),
  probeTolerance: z.number().min(0).max(2).default(0.5).describe('By how many kelvin the temperature probe may read low. Default 0.5.'),
  supplyVolts,
});
type Settings = z.infer<typeof settings>;

const SWITCH_ONS_KEPT = 9;
const SWITCH_ONS_NEEDED = 3;
const NOISE_K = 0.1;
const WARM_MS = 36 * HOUR;
const USUAL_MARGIN_K = 0.2;

const state = z.strictObject({
  on: z.boolean().nullable(),
  /** Not drawing with the water below what is explained since, and how warm it was then. */
  coldSinceMs: z.number().nullable(),
  coldFromC: z.number().nullable(),
  /** Stays until it draws, or the water has long been at the setpoint: another heater may hold it just above the line. */
  breached: z.boolean(),
  /** Found, and the water at the setpoint since. */
  warmSinceMs: z.number().nullable(),
  /** How far from the line the heater has switched on of late, K, oldest first. */
  switchOnsK: z.array(z.number()).max(SWITCH_ONS_KEPT),
});
type State = z.infer<typeof state>;

export default defineRule<Settings, State>({
  kind: 'heater-not-heating',
  watchesFor: 'A heater that draws nothing although the water is below its setpoint and band.',
  settings,
  state,
  initial: { on: null, coldSinceMs: null, coldFromC: null, breached: false, warmSinceMs: null, switchOnsK: [] },
  policy: { priority: 'urgent', onDelayMs: 0, offDelayMs: 5 * MINUTE },

  apply(facts) {
    const water = waterTemperaturePoint(facts);
    return facts.equipment.filter(({ kind }) => kind === 'heater').map((heater) => ({
      subject: heater.id,
      title: `${heater.name} not heating`,
      roles: { ...thermometerRoles(facts), ...drawRoles(facts, heater) },
      equipment: heater,
      missing: heater.setpointC === null
        ? `no setpoint is entered for ${heater.name}`
        : water === null ? 'no temperature point in the display or the sump' : missingDraw(facts, heater),
      defaults: {},
    }));
  },

  step(before, input, context) {
    const water = waterBy(context, 'warmest');
    if (water === null) return { state: afterSilence(before), verdict: unknown(whyNotCurrent(context, 'water')) };
    const draw = readDraw(context, context.settings.supplyVolts);
    if (draw.by === null) return { state: afterSilence(before), verdict: unknown(draw.why) };
    const from = isFirstAfterSilence(input, draw, context) ? afterSilence(before) : before;
    const running = isRunning(draw, heaterOnWatts(context.equipment));
    if (running === null) return { state: from, verdict: water.value < callC(from, context) ? unknown(tooCoarse) : clear };
    const state = running ? whileOn(from, water, context) : whileOff(from, water, context);
    return { state, verdict: state.breached ? breached(state, water, draw, context) : clear, quiet: quietOf(state, running, water, draw, context) };
  },

  surelyAfterMs: ({ lag }) => lag,

  firstChecks(advice) {
    const { equipment, tank } = advice;
    const name = equipment?.name ?? 'the heater';
    return [
      'Ask the site whether other equipment is off too: then it is the breaker, the residual-current device (GFCI/RCD) or the mains.',
      `Compare with an independent thermometer, and the dial of ${name} with the fleet file (${show('temperature', equipment?.setpointC)}).`,
      beforeReachingIn(advice),
      `See that ${name} is plugged in and its outlet or controller is on; that it lies under water; and whether its glass or cable is damaged: then do not switch it on again, replace it.`,
      `Until it heats: close lids, keep the water moving, have a spare heater set up. Livestock is at risk from ${show('temperature', hardLimitsC[tank.water].low)} down (common practice).`,
      slowCorrection,
      electricalWork,
      husbandry,
    ];
  },
});

/** While it heats, or the water is not cold. */
function quietOf(state: State, running: boolean, water: Latest, draw: Draw, context: RuleContext<Settings>): Quiet | undefined {
  const onWatts = heaterOnWatts(context.equipment);
  const draws = sameDraw(draw, [onWatts, onWatts / 2]);
  if (draws === null || state.breached || state.coldSinceMs !== null || state.warmSinceMs !== null || state.on !== running) return undefined;
  return quietWithin(running ? draws : { ...draws, [roleOf(water, context)]: between(water.value, callC(state, context)) });
}

function lineOf({ equipment }: RuleContext<Settings>): number {
  return (equipment?.setpointC ?? Number.NaN) - (equipment?.bandK ?? 0);
}

/** From here down a heater that works is drawing, whatever offset probe and dial may have. */
function callC({ switchOnsK }: State, context: RuleContext<Settings>): number {
  const { probeTolerance } = context.settings;
  const usual = switchOnsK.length >= SWITCH_ONS_NEEDED ? keptMedian(switchOnsK) : null;
  const explainedK = usual === null ? probeTolerance : Math.min(probeTolerance, Math.max(0, -usual) + USUAL_MARGIN_K);
  return lineOf(context) - explainedK;
}

/** Nobody saw what happened during a silence: the count starts again after it, unless it has rung already. */
const afterSilence = (before: State): State => (before.breached || (before.on === null && before.coldSinceMs === null) ? before : { ...before, on: null, coldSinceMs: null, coldFromC: null });

/** A silence that no wake-up has noticed, since nobody was watching. */
function isFirstAfterSilence(input: RuleInput, draw: Draw, context: RuleContext<Settings>): boolean {
  return input.type === 'reading' && (input.role === 'water' || input.role === draw.by) && cameBackFromSilence(context, input.role);
}

function whileOn(from: State, water: Latest, context: RuleContext<Settings>): State {
  if (from.on === true) return from;
  const onK = water.value - lineOf(context);
  // A heater plugged in again when the water is cold teaches nothing about its thermostat.
  const isThermostat = from.on === false && from.coldSinceMs === null && Math.abs(onK) <= Math.max(0.5, context.settings.probeTolerance);
  const switchOnsK = isThermostat ? [...from.switchOnsK, Math.round(onK * 100) / 100].slice(-SWITCH_ONS_KEPT) : from.switchOnsK;
  return { on: true, coldSinceMs: null, coldFromC: null, breached: false, warmSinceMs: null, switchOnsK };
}

function whileOff(from: State, water: Latest, context: RuleContext<Settings>): State {
  const callsC = from.breached ? context.equipment?.setpointC ?? Number.NaN : callC(from, context) + (from.coldSinceMs === null ? 0 : NOISE_K);
  const isCold = water.value < callsC;
  if (from.breached && !isCold && context.nowMs - (from.warmSinceMs ?? context.nowMs) < WARM_MS) return from.warmSinceMs === null ? { ...from, warmSinceMs: context.nowMs } : from;
  const isBreached = from.breached || (from.coldSinceMs !== null && context.nowMs - from.coldSinceMs >= context.settings.lag);
  if (isCold === (from.coldSinceMs !== null) && from.on === false && from.warmSinceMs === null && (!isCold || isBreached === from.breached)) return from;
  if (!isCold) return { ...from, on: false, coldSinceMs: null, coldFromC: null, breached: false, warmSinceMs: null };
  return { ...from, on: false, warmSinceMs: null, coldSinceMs: from.coldSinceMs ?? context.nowMs, coldFromC: from.coldFromC ?? water.value, breached: isBreached };
}

function breached(state: State, water: Latest, draw: Draw, context: RuleContext<Settings>): Verdict {
  const { nowMs, equipment, tank } = context;
  const since = state.coldSinceMs ?? nowMs;
  const hours = (nowMs - since) / HOUR;
  const rate = state.coldFromC === null || hours <= 0 ? null : (water.value - state.coldFromC) / hours;
  const { low } = hardLimitsC[tank.water];
  const evidence: Evidence[] = [
    { label: 'Water', value: water.value, kind: 'temperature', atMs: water.atMs },
    { label: 'Should switch on at', value: lineOf(context), kind: 'temperature' },
    { label: 'Surely on below', value: callC(state, context), kind: 'temperature' },
    draw.by === 'power' || draw.by === 'current' || draw.by === 'energy'
      ? { label: draw.by === 'power' ? 'Draws' : `Draws (from the ${draw.by})`, value: draw.watts, kind: 'power', atMs: draw.atMs }
      : { label: 'Switch', value: showDraw(draw) },
    { label: 'Cold and not heating for', value: showDuration(nowMs - since), atMs: since },
  ];
  if (rate !== null) evidence.push({ label: 'Changing since then by', value: `${rate >= 0 ? '+' : '−'}${Math.abs(rate).toFixed(2)} K/h` });
  // Newton: it cools ever more slowly, so a straight line is the earliest it can be.
  const left = rate !== null && rate < -0.02 && water.value > low ? showDuration(((water.value - low) / -rate) * HOUR) : null;
  if (left !== null) evidence.push({ label: `At this rate ${show('temperature', low)} in, at the earliest`, value: left });
  const name = equipment?.name ?? 'the heater';
  const drawn = draw.by === 'switch' ? `is ${showDraw(draw)}` : `draws ${showDraw(draw)}`;
  return { state: 'breached', summary: `${name} ${drawn} with the water at ${show('temperature', water.value)}, and has done so for ${showDuration(nowMs - since)}: its thermostat should have started it at ${show('temperature', lineOf(context))}${left === null ? '' : `; as it cools, ${show('temperature', low)} is at least ${left} away`}`, evidence };
}
