/**
 * Heating that runs all the time and does not hold the water.
 *
 * Problem: a heater too small for the room, one of two that has failed, a window left open in winter: nothing is broken by itself, and the water sinks all the same.
 *
 * Method. All heaters of the tank that have a meter are looked at together; heaters without one are not known and say so. Breached when every one of them has
 * drawn without pause for `after`, the water is below the highest of their lines (setpoint − band) by 0.1 K or has fallen by 0.3 K meanwhile below the setpoint, and has not
 * risen by 0.1 K over the last two to three hours. The reading of the water is noted once an hour for that. Over when a heater pauses for 5 min or the water is back at the line.
 * The off-delay is most of a day: what gives in on a cold night gives in on the next one as well, and that is the same news.
 *
 * What must not ring: warming up after a water change or a start (it rises), a cold night with pauses (the thermostat still decides), short dips
 * of a meter. A heater stuck on above its setpoint is another rule's.
 */
import { z } from 'zod';
import { HOUR, MINUTE, showDuration } from '../../domain/duration.ts';
import type { Equipment } from '../../domain/fleet.ts';
import { show } from '../../domain/units.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { beforeReachingIn, electricalWork, husbandry } from '../cautions.ts';
import { type Band, defineRule, type Latest, type Proposal, type Quiet, type RuleContext, type TankFacts } from '../contract.ts';
import { drawRoles, tooCoarse } from '../draw.ts';
import { quietWithin, sameDraw } from '../quiet.ts';
import { heaterOnWatts, isRunning } from '../running.ts';
import { readNumberedDraw, severalDrawRoles } from '../several-draws.ts';
import { duration, supplyVolts } from '../settings.ts';
import { unknown, whyNotCurrent } from '../unknown.ts';
import { waterTemperaturePoint } from '../water.ts';

const settings = z.strictObject({
  after: duration(HOUR, 24 * HOUR).default(4 * HOUR).describe('How long the heaters must have drawn without pause, such as 4h. Default 4 h.'),
  setpoint: z.number().min(0).max(45).nullable().default(null).describe('Temperature in °C that is to be held; null: the highest setpoint of the heaters.'),
  band: z.number().min(0).max(5).default(0.5).describe('How far below that the water may sink, in kelvin; by itself the band of that heater.'),
  supplyVolts,
});
type Settings = z.infer<typeof settings>;

const PAUSE_MS = 5 * MINUTE;
const SHORT_K = 0.1;
const FALLING_K = 0.3;
const RISING_K = 0.1;
const NOTES_KEPT = 4;

const state = z.strictObject({
  /** All of them drawing since; pauses under five minutes aside. */
  sinceMs: z.number().nullable(),
  pauseSinceMs: z.number().nullable(),
  fromC: z.number().nullable(),
  /** The water hour by hour meanwhile, oldest first. */
  notes: z.array(z.tuple([z.number(), z.number()])).max(NOTES_KEPT),
  breached: z.boolean(),
});
type State = z.infer<typeof state>;

const resting: State = { sinceMs: null, pauseSinceMs: null, fromC: null, notes: [], breached: false };

export default defineRule<Settings, State>({
  kind: 'heater-at-limit',
  watchesFor: 'Heating that runs all the time and still does not hold the water.',
  settings,
  state,
  initial: resting,
  policy: { priority: 'high', onDelayMs: 0, offDelayMs: 20 * HOUR },

  apply(facts) {
    const heaters = facts.equipment.filter(({ kind }) => kind === 'heater');
    const metered = meteredHeaters(facts);
    const [first] = heaters;
    return first === undefined ? [] : [proposalFor(facts, first, metered)];
  },

  step(before, _input, context) {
    const water = context.current('water');
    if (water === null) return { state: rest(before), verdict: unknown(whyNotCurrent(context, 'water')) };
    const { setpoint } = context.settings;
    if (setpoint === null) return { state: before, verdict: unknown('no setpoint is known') };
    let watts: number | null = 0;
    let running: boolean | null = true;
    for (let number = 1; ; number += 1) {
      const draw = readNumberedDraw(context, 'heater', number, context.settings.supplyVolts);
      if (draw === null) break;
      if (draw.by === null) return { state: rest(before), verdict: unknown(draw.why) };
      const one = isRunning(draw, heaterOnWatts(null));
      if (one === false) running = false;
      else if (one === null && running === true) running = null;
      watts = draw.by === 'switch' || watts === null ? null : watts + draw.watts;
    }
    if (running === null) return { state: before, verdict: before.breached ? breached(before, water, watts, setpoint, context) : unknown(tooCoarse) };
    const state = running ? whileOn(before, water, setpoint, context) : whileOff(before, context.nowMs);
    return { state, verdict: state.breached ? breached(state, water, watts, setpoint, context) : clear, quiet: quietOf(state, running, context) };
  },

  surelyAfterMs: ({ after }) => after,

  firstChecks(advice) {
    return [
      'Is the room colder than usual, a window or door open, the heating of the building off? Close lids and keep draughts away.',
      'Is another heater of this tank off or weak? Then the one that runs has to do the work of both.',
      beforeReachingIn(advice),
      'See that the heater lies under water with water moving past it; check whether cold water runs in somewhere.',
      'If nothing is wrong, the heating is too small: 0.8–1.3 W per litre are common practice, in two heaters rather than one.',
      electricalWork,
      husbandry,
    ];
  },
});

const meteredHeaters = (facts: TankFacts): readonly Equipment[] => facts.equipment.filter((piece) => piece.kind === 'heater' && Object.keys(drawRoles(facts, piece)).length > 0);

function proposalFor(facts: TankFacts, first: Equipment, metered: readonly Equipment[]): Proposal {
  const water = waterTemperaturePoint(facts);
  const leading = metered.reduce<Equipment | null>((best, one) => (one.setpointC !== null && (best?.setpointC ?? Number.NEGATIVE_INFINITY) < one.setpointC ? one : best), null);
  const missing = metered.length === 0
    ? 'no power, current, energy or switch point on a heater of this tank'
    : leading === null ? `no setpoint is entered for ${metered.map(({ name }) => name).join(' or ')}` : water === null ? 'no temperature point in the display or the sump' : null;
  return {
    subject: (leading ?? first).id,
    title: metered.length > 1 ? 'Heaters at their limit' : `${(leading ?? first).name} at its limit`,
    roles: { ...(water === null ? {} : { water: water.id }), ...severalDrawRoles(facts, metered, 'heater') },
    equipment: leading ?? first,
    missing,
    defaults: leading === null ? {} : { setpoint: leading.setpointC, ...(leading.bandK === null ? {} : { band: leading.bandK }) },
  };
}

/** While one of them rests; while all run, until the next note is due, or they have run for long. */
function quietOf({ sinceMs, pauseSinceMs, notes, breached: isBreached }: State, running: boolean, context: RuleContext<Settings>): Quiet | undefined {
  const onWatts = heaterOnWatts(null);
  const within: Record<string, Band> = {};
  for (let number = 1; ; number += 1) {
    const draw = readNumberedDraw(context, 'heater', number, context.settings.supplyVolts);
    if (draw === null) break;
    const draws = sameDraw(draw, [onWatts, onWatts / 2], `heater-${number}.`);
    if (draws === null) return undefined;
    Object.assign(within, draws);
  }
  if (!running) return sinceMs === null ? quietWithin(within) : undefined;
  const last = notes.at(-1);
  if (isBreached || sinceMs === null || pauseSinceMs !== null || last === undefined) return undefined;
  return quietWithin(within, Math.min(last[0] + HOUR, sinceMs + context.settings.after));
}

/** Nobody saw what happened during a silence; what has rung goes on until it is seen to be over. */
const rest = (before: State): State => (before === resting || before.breached ? before : before.sinceMs === null && before.pauseSinceMs === null ? before : resting);

function whileOff(before: State, nowMs: number): State {
  if (before.sinceMs === null) return before;
  if (before.pauseSinceMs === null) return { ...before, pauseSinceMs: nowMs };
  return nowMs - before.pauseSinceMs >= PAUSE_MS ? resting : before;
}

function whileOn(before: State, water: Latest, setpoint: number, { nowMs, settings }: RuleContext<Settings>): State {
  const noted = note(before, water, nowMs);
  const line = setpoint - settings.band;
  const since = noted.sinceMs ?? nowMs;
  const isBreached = noted.breached
    ? water.value < line || (noted.fromC !== null && water.value < Math.min(setpoint, noted.fromC - FALLING_K / 2))
    : nowMs - since >= settings.after && isShort(noted, water.value, line, setpoint) && !isRising(noted, water);
  return isBreached === noted.breached ? noted : { ...noted, breached: isBreached };
}

function note(before: State, water: Latest, nowMs: number): State {
  const kept: [number, number] = [water.atMs, Math.round(water.value * 100) / 100];
  if (before.sinceMs === null) return { ...resting, sinceMs: nowMs, fromC: water.value, notes: [kept] };
  const last = before.notes.at(-1);
  const running = before.pauseSinceMs === null ? before : { ...before, pauseSinceMs: null };
  return last === undefined || water.atMs - last[0] >= HOUR ? { ...running, notes: [...running.notes, kept].slice(-NOTES_KEPT) } : running;
}

function isShort({ fromC }: State, celsius: number, line: number, setpoint: number): boolean {
  return celsius <= line - SHORT_K || (fromC !== null && celsius < setpoint && celsius <= fromC - FALLING_K);
}

/** Against the newest note that is two hours old. */
function isRising({ notes }: State, water: Latest): boolean {
  const before = notes.findLast(([atMs]) => water.atMs - atMs >= 2 * HOUR);
  return before === undefined || water.value - before[1] >= RISING_K;
}

function breached({ sinceMs, fromC, notes }: State, water: Latest, watts: number | null, setpoint: number, { nowMs, settings: { band }, equipment }: RuleContext<Settings>): Verdict {
  const since = sinceMs ?? nowMs;
  const evidence: Evidence[] = [
    { label: 'Water', value: water.value, kind: 'temperature', atMs: water.atMs },
    { label: 'Should be held at', value: setpoint, kind: 'temperature' },
    { label: 'Should not sink below', value: setpoint - band, kind: 'temperature' },
    { label: 'Heating without pause for', value: showDuration(nowMs - since), atMs: since },
  ];
  if (watts !== null) evidence.push({ label: 'Draws, all heaters together', value: watts, kind: 'power' });
  if (fromC !== null) evidence.push({ label: 'When it began', value: fromC, kind: 'temperature', atMs: since });
  const [first] = notes;
  if (first !== undefined && water.atMs - first[0] >= HOUR) evidence.push({ label: 'Changed of late by', value: `${water.value >= first[1] ? '+' : '−'}${Math.abs(water.value - first[1]).toFixed(2)} K in ${showDuration(water.atMs - first[0])}` });
  return { state: 'breached', summary: `${equipment?.name ?? 'the heater'} has heated without pause for ${showDuration(nowMs - since)}${watts === null ? '' : ` (${watts.toFixed(0)} W in all)`}, and the water is at ${show('temperature', water.value)} and not rising, where ${show('temperature', setpoint)} should be held`, evidence };
}
