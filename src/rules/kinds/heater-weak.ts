/**
 * A heater that is not what its nameplate says: it draws too little or too much, or it draws and the water does not warm.
 *
 * Problem: one of two elements broken, a smaller heater put in as a stopgap, scale on the element, a heater that lies dry in the sump. All is well until the
 * cold night on which all of it is needed.
 *
 * Method, either of
 *   1. nameplate: what it draws while it runs steadily (two readings on end within 3 %), at most once in two minutes, the last five kept: six minutes of
 *      heating tell, since a resistance does not change by itself. A resistance draws P ∝ V²;
 *      makers may deviate by some percent (`soundHeaterWatts`, IEC 60335-1 from memory), plug meters by 2 % (common practice), the supply by 10 % where it is not
 *      measured. Breached when the median of at least three lies outside of what all of these explain together;
 *   2. response: the slope of the water while it heats less the slope while it rests is P/C, whatever is lost to the room. Of the last nine pairs of run and rest
 *      (20 min to 1 h each) the median is compared with the expected; breached under 40 % of at least five, which neither a low fill nor rock in
 *      the display nor a coarse probe explains.
 *
 * What must not ring: the voltage sags (measured, or allowed for); a meter reading that spans a switch (not steady); a second heater or a chiller that runs meanwhile
 * (2. takes only pairs during which no other one was seen running); an energy counter (too coarse for 1., used for 2.). A repaired heater is believed after three readings.
 */
import { z } from 'zod';
import { HOUR, MINUTE } from '../../domain/duration.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { heatCapacityWhPerK } from '../../physics/heat.ts';
import { type PowerBand, soundHeaterWatts } from '../../physics/heater-power.ts';
import { beforeReachingIn, electricalWork, husbandry } from '../cautions.ts';
import { type Band, defineRule, type Latest, type Quiet, type RuleContext } from '../contract.ts';
import { type Draw, drawRoles, readDraw } from '../draw.ts';
import { keptMedian } from '../median.ts';
import { between, noValue } from '../quiet.ts';
import { afterSilence, effectKPerH, followRun, noSlopes, runSlopes, stretchEndsMs } from '../run-slopes.ts';
import { heaterOnWatts, isRunning } from '../running.ts';
import { readNumberedDraw, severalDrawRoles } from '../several-draws.ts';
import { supplyVolts } from '../settings.ts';
import { unknown } from '../unknown.ts';
import { waterTemperaturePoint } from '../water.ts';

const settings = z.strictObject({
  ratedVolts: z.number().min(80).max(260).nullable().default(null).describe('Voltage on the nameplate in V; null: 120 or 230, whichever is nearer to the supply.'),
  leastResponse: z.number().min(0).max(90).default(40).describe('Weak when the water warms by less than so many percent of what the draw should do; 0: not looked at. Default 40.'),
  supplyVolts,
});
type Settings = z.infer<typeof settings>;

const DRAWS_KEPT = 5;
const DRAWS_NEEDED = 3;
const RESPONSES_KEPT = 9;
const RESPONSES_NEEDED = 5;
const DRAW_EVERY_MS = 2 * MINUTE;
const STEADY = 0.03;
const METER = 0.02;
const SUPPLY = 0.1;
const PAIR_WITHIN_MS = 4 * HOUR;
const OTHERS_EVERY_MS = HOUR / 2;
const OTHER_WATTS = 15;

const state = z.strictObject({
  /** Draw against the bounds of a sound heater: below 1 short of the lower, above 1 beyond the upper, 1 between. Oldest first. */
  draws: z.array(z.number()).max(DRAWS_KEPT),
  drawMs: z.number().nullable(),
  slopes: runSlopes,
  /** End of the run that was last compared, and the latest time another heater or chiller ran. */
  pairMs: z.number().nullable(),
  otherMs: z.number().nullable(),
  /** Warming against the expected, 1 where all is well. Oldest first. */
  responses: z.array(z.number()).max(RESPONSES_KEPT),
});
type State = z.infer<typeof state>;

export default defineRule<Settings, State>({
  kind: 'heater-weak',
  watchesFor: 'A heater that draws off its nameplate, or draws and does not warm the water.',
  settings,
  state,
  initial: { draws: [], drawMs: null, slopes: noSlopes, pairMs: null, otherMs: null, responses: [] },
  policy: { priority: 'high', onDelayMs: 0, offDelayMs: 5 * MINUTE },

  apply(facts) {
    const water = waterTemperaturePoint(facts);
    const voltage = facts.points.find(({ kind, tankId }) => kind === 'voltage' && (tankId === null || tankId === facts.tank.id));
    return facts.equipment.filter(({ kind }) => kind === 'heater').map((heater) => {
      const meters = drawRoles(facts, heater);
      const others = facts.equipment.filter(({ id, kind }) => id !== heater.id && (kind === 'heater' || kind === 'chiller'));
      return {
        subject: heater.id,
        title: `${heater.name} weak`,
        roles: { ...(water === null ? {} : { water: water.id }), ...(voltage === undefined ? {} : { voltage: voltage.id }), ...meters, ...severalDrawRoles(facts, others, 'other') },
        equipment: heater,
        missing: heater.nameplateWatts === null
          ? `no nameplate power is entered for ${heater.name}`
          : Object.keys(meters).some((role) => role !== 'switch') ? null : `no power, current or energy point on ${heater.name}`,
        defaults: {},
      };
    });
  },

  step(before, input, context) {
    const draw = readDraw(context, context.settings.supplyVolts);
    if (draw.by === null) return { state: withSlopes(before, afterSilence(before.slopes)), verdict: unknown(draw.why) };
    if (draw.by === 'switch') return { state: before, verdict: unknown('its meter is silent, and a switch does not tell what it draws') };
    const running = isRunning(draw, heaterOnWatts(context.equipment));
    const drawn = running === true && input.type === 'reading' && input.role === draw.by ? noteDraw(before, draw, context) : before;
    const state = noteResponse(drawn, running, context);
    const verdict = judge(state, draw, context);
    return { state, verdict: verdict ?? (state.draws.length < DRAWS_NEEDED && state.responses.length < RESPONSES_NEEDED ? unknown('has not been seen heating often enough yet') : clear), quiet: quietOf(state, draw, running, context) };
  },

  // While it heats. What only the response of the water shows takes five runs, and nobody can say how long that is.
  surelyAfterMs: (_settings, { points }) => DRAWS_NEEDED * Math.max(DRAW_EVERY_MS, points.get('power')?.everyMs ?? points.get('current')?.everyMs ?? 0),

  firstChecks(advice) {
    const name = advice.equipment?.name ?? 'the heater';
    return [
      `Compare the nameplate of ${name} with the fleet file (${advice.equipment?.nameplateWatts ?? 'unknown'} W): was it replaced by another?`,
      'Other heaters of the site too? Then it is the voltage: have an electrician measure it.',
      beforeReachingIn(advice),
      `Draws too little: an element or its controller has failed; replace ${name}, do not repair it.`,
      `Draws as it should and does not warm: see that it lies under water, that water moves past it, that no scale or sponge covers it, and that no cold water runs in. A heater that was dry must cool in air before it is lifted out or covered.`,
      electricalWork,
      husbandry,
    ];
  },
});

/** While it heats, each reading of its meter counts; the water only as often as a stretch ends. */
function quietOf(state: State, draw: Draw, running: boolean | null, context: RuleContext<Settings>): Quiet | undefined {
  if (draw.by !== 'power' || running === null) return undefined;
  const onWatts = heaterOnWatts(context.equipment);
  const within: Record<string, Band> = { power: running ? noValue : between(draw.watts, onWatts, onWatts / 2) };
  if (context.current('water') === null || context.settings.leastResponse === 0) return { untilMs: Number.POSITIVE_INFINITY, within };
  const untilMs = stretchEndsMs(state.slopes);
  if (state.otherMs !== null && context.nowMs - state.otherMs < OTHERS_EVERY_MS) return { untilMs: Math.min(untilMs, state.otherMs + OTHERS_EVERY_MS), within };
  for (let number = 1; ; number += 1) {
    const other = readNumberedDraw(context, 'other', number, context.settings.supplyVolts);
    if (other === null) return { untilMs, within };
    if (other.by !== 'power') return undefined;
    within[`other-${number}.power`] = between(other.watts, OTHER_WATTS, OTHER_WATTS / 2);
  }
}

type Metered = Extract<Draw, { readonly watts: number }>;

const withSlopes = (before: State, slopes: State['slopes']): State => (slopes === before.slopes ? before : { ...before, slopes });

function noteDraw(before: State, draw: Metered, context: RuleContext<Settings>): State {
  if (draw.by === 'energy' || (before.drawMs !== null && draw.atMs - before.drawMs < DRAW_EVERY_MS)) return before;
  const role = draw.by;
  const last = context.latest(role);
  const previous = context.previous(role);
  const point = context.point(role);
  if (last === null || previous === null || point === null || last.atMs - previous.atMs > point.silentAfterMs) return before;
  if (Math.abs(last.value - previous.value) > STEADY * Math.abs(last.value)) return before;
  const { lowWatts, highWatts } = soundBand(context);
  // With a supply that is gone, or a meter of it that reads nonsense, there is nothing to compare with.
  if (!(highWatts > 0)) return before;
  const against = lowWatts !== null && draw.watts < lowWatts ? draw.watts / lowWatts : draw.watts > highWatts ? draw.watts / highWatts : 1;
  // All is as it was: nothing to write.
  if (against === 1 && before.draws.length === DRAWS_KEPT && before.draws.every((one) => one === 1)) return before;
  return { ...before, draws: [...before.draws, Math.round(against * 1000) / 1000].slice(-DRAWS_KEPT), drawMs: draw.atMs };
}

/** What a sound heater of this nameplate may be seen drawing now, the error of the meter included. */
function soundBand(context: RuleContext<Settings>): PowerBand {
  const measured = context.current('voltage')?.value ?? null;
  const rated = context.settings.ratedVolts ?? nearestRating(measured ?? context.settings.supplyVolts);
  const [lowVolts, highVolts] = measured === null ? [rated * (1 - SUPPLY), rated * (1 + SUPPLY)] : [measured, measured];
  const band = soundHeaterWatts(context.equipment?.nameplateWatts ?? Number.NaN, rated, lowVolts, highVolts);
  return { lowWatts: band.lowWatts === null ? null : band.lowWatts * (1 - METER), highWatts: band.highWatts * (1 + METER) };
}

const nearestRating = (volts: number): number => (Math.abs(volts - 120) < Math.abs(volts - 230) ? 120 : 230);

function noteResponse(before: State, running: boolean | null, context: RuleContext<Settings>): State {
  const water = context.current('water');
  if (water === null || running === null || context.settings.leastResponse === 0) return withSlopes(before, afterSilence(before.slopes));
  const noted = noteOthers(before, context);
  const slopes = followRun(noted.slopes, running, water, context.nowMs);
  if (slopes === noted.slopes) return noted;
  const followed = { ...noted, slopes };
  const { onMs, restMs } = slopes;
  // A run and the rest before or after it make a pair; each run counts once.
  if (onMs === null || restMs === null || onMs === followed.pairMs) return followed;
  if (followed.otherMs !== null && context.nowMs - followed.otherMs < 2 * HOUR) return { ...followed, pairMs: onMs };
  const effect = effectKPerH(slopes, context.nowMs, PAIR_WITHIN_MS);
  const expected = expectedKPerH(context);
  if (effect === null || !(expected > 0)) return followed;
  return { ...followed, pairMs: onMs, responses: [...followed.responses, Math.round((effect / expected) * 100) / 100].slice(-RESPONSES_KEPT) };
}

/** Another heater or the chiller was seen running; noted at most once in half an hour. */
function noteOthers(before: State, context: RuleContext<Settings>): State {
  if (before.otherMs !== null && context.nowMs - before.otherMs < OTHERS_EVERY_MS) return before;
  for (let number = 1; ; number += 1) {
    const draw = readNumberedDraw(context, 'other', number, context.settings.supplyVolts);
    if (draw === null) return before;
    if (draw.by !== null && isRunning(draw, OTHER_WATTS) !== false) return { ...before, otherMs: context.nowMs };
  }
}

/** By the nameplate and all of the nominal volume: less water warms faster. */
function expectedKPerH({ equipment, tank }: RuleContext<Settings>): number {
  const salinity = tank.water === 'reef' || tank.water === 'marine' ? 35 : 0;
  return (equipment?.nameplateWatts ?? Number.NaN) / heatCapacityWhPerK(tank.displayLitres + tank.sumpLitres, salinity, 25);
}

/** `null`: nothing to complain of. */
function judge({ draws, responses }: State, draw: Metered, context: RuleContext<Settings>): Verdict | null {
  const name = context.equipment?.name ?? 'the heater';
  const nameplate = context.equipment?.nameplateWatts ?? Number.NaN;
  const against = draws.length >= DRAWS_NEEDED ? keptMedian(draws) : null;
  if (against !== null && against !== 1) {
    const { lowWatts, highWatts } = soundBand(context);
    const seen = against < 1 && lowWatts !== null ? against * lowWatts : against * highWatts;
    const volts: Latest | null = context.current('voltage');
    const evidence: Evidence[] = [
      { label: 'Draws while heating, of late', value: Math.round(seen), kind: 'power' },
      { label: 'Nameplate', value: nameplate, kind: 'power' },
      { label: 'A sound one draws', value: `${lowWatts === null ? 'up to' : `${lowWatts.toFixed(0)} to`} ${highWatts.toFixed(0)} W${volts === null ? ', with the supply within 10 %' : ''}` },
      { label: 'Readings compared', value: String(draws.length), atMs: draw.atMs },
    ];
    if (volts !== null) evidence.push({ label: 'Supply', value: volts.value, kind: 'voltage', atMs: volts.atMs });
    return { state: 'breached', summary: `${name} draws about ${seen.toFixed(0)} W while it heats, ${Math.round((100 * seen) / nameplate)} % of its ${nameplate.toFixed(0)} W; voltage, maker’s tolerance and meter explain ${against < 1 ? 'no less than' : 'no more than'} ${(against < 1 ? lowWatts ?? 0 : highWatts).toFixed(0)} W`, evidence };
  }
  const response = responses.length >= RESPONSES_NEEDED ? keptMedian(responses) : null;
  if (response === null || response >= context.settings.leastResponse / 100) return null;
  const expected = expectedKPerH(context);
  return {
    state: 'breached',
    summary: `${name} draws, and the water warms by only ${Math.max(0, Math.round(response * 100))} % of what ${nameplate.toFixed(0)} W should do (${Math.max(0, response * expected).toFixed(2)} of ${expected.toFixed(2)} K/h)`,
    evidence: [
      { label: 'Warms by, against when it rests', value: `${(response * expected).toFixed(2)} K/h` },
      { label: 'Expected, all of the nominal water', value: `${expected.toFixed(2)} K/h` },
      { label: 'Runs compared', value: String(responses.length), atMs: draw.atMs },
    ],
  };
}
