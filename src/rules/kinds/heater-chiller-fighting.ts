/**
 * A heater and a chiller that work against each other.
 *
 * Problem: setpoints that overlap (a dial turned, two controllers that read two probes) let one undo what the other does, day and night: the meter runs, the
 * compressor wears, and the real fault of either stays hidden.
 *
 * Method. Breached when heating and cooling run together for 10 min, or change over from one to the other within `window`, `changes` times in 12 h. A
 * healthy pair is a kelvin apart (common practice: at least 1 °C) and takes hours from one to the other, once or twice a day: the night is heated, the afternoon
 * cooled. Over after 6 h without a change-over and without running together.
 *
 * What must not ring: a sunny morning after a cold night (one change-over), cold water poured in while the chiller runs (one), a coarse counter (not
 * decided, not counted). A silence of either meter ends what runs together and is no change-over.
 */
import { z } from 'zod';
import { HOUR, MINUTE, showDuration } from '../../domain/duration.ts';
import { show } from '../../domain/units.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { beforeReachingIn, electricalWork, husbandry } from '../cautions.ts';
import { type Band, defineRule, type Quiet, type RuleContext } from '../contract.ts';
import { type Draw, drawRoles, readDraw, tooCoarse } from '../draw.ts';
import { quietWithin, sameDraw } from '../quiet.ts';
import { chillerOnWatts, heaterOnWatts, isRunning } from '../running.ts';
import { readNumberedDraw, severalDrawRoles } from '../several-draws.ts';
import { duration, supplyVolts } from '../settings.ts';
import { unknown } from '../unknown.ts';

const settings = z.strictObject({
  window: duration(5 * MINUTE, 6 * HOUR).default(45 * MINUTE).describe('One that starts so soon after the other stopped works against it, such as 45m. Default 45 min.'),
  changes: z.int().min(2).max(20).default(3).describe('So many change-overs within 12 hours are fighting. Default 3.'),
  supplyVolts,
});
type Settings = z.infer<typeof settings>;

const TOGETHER_MS = 10 * MINUTE;
const COUNTED_MS = 12 * HOUR;
const OVER_MS = 6 * HOUR;
const CHANGES_KEPT = 20;

const state = z.strictObject({
  heating: z.boolean().nullable(),
  cooling: z.boolean().nullable(),
  /** When each was last seen to stop; `null`: runs, or not seen. */
  heatedMs: z.number().nullable(),
  cooledMs: z.number().nullable(),
  togetherSinceMs: z.number().nullable(),
  /** Change-overs of late, oldest first. */
  changesMs: z.array(z.number()).max(CHANGES_KEPT),
  /** Fighting was last seen, while it is breached. */
  foughtMs: z.number().nullable(),
  breachedSinceMs: z.number().nullable(),
});
type State = z.infer<typeof state>;

export default defineRule<Settings, State>({
  kind: 'heater-chiller-fighting',
  watchesFor: 'A heater and a chiller that work against each other.',
  settings,
  state,
  initial: { heating: null, cooling: null, heatedMs: null, cooledMs: null, togetherSinceMs: null, changesMs: [], foughtMs: null, breachedSinceMs: null },
  policy: { priority: 'high', onDelayMs: 0, offDelayMs: 15 * MINUTE },

  apply(facts) {
    const heaters = facts.equipment.filter(({ kind }) => kind === 'heater');
    const metered = heaters.filter((heater) => Object.keys(drawRoles(facts, heater)).length > 0);
    if (heaters.length === 0) return [];
    return facts.equipment.filter(({ kind }) => kind === 'chiller').map((chiller) => {
      const meters = drawRoles(facts, chiller);
      return {
        subject: chiller.id,
        title: `${chiller.name} and ${heaters.length === 1 ? (heaters[0]?.name ?? 'heater') : 'heaters'} fighting`,
        roles: { ...meters, ...severalDrawRoles(facts, metered, 'heater') },
        equipment: chiller,
        missing: Object.keys(meters).length === 0
          ? `no power, current, energy or switch point on ${chiller.name}`
          : metered.length === 0 ? `no power, current, energy or switch point on ${heaters.map(({ name }) => name).join(' or ')}` : null,
        defaults: {},
      };
    });
  },

  step(before, _input, context) {
    const chiller = readDraw(context, context.settings.supplyVolts);
    if (chiller.by === null) return { state: unseen(before), verdict: unknown(chiller.why) };
    const heaters = heatersRunning(context);
    if ('why' in heaters) return { state: unseen(before), verdict: unknown(heaters.why) };
    const cooling = isRunning(chiller, chillerOnWatts(context.equipment)) ?? before.cooling;
    const heating = heaters.running ?? before.heating;
    if (cooling === null || heating === null) return { state: before, verdict: unknown(tooCoarse) };
    const state = follow(before, heating, cooling, context);
    return { state, verdict: state.breachedSinceMs === null ? clear : breached(state, chiller, context), quiet: quietOf(state, chiller, context) };
  },

  surelyAfterMs: ({ window }) => window,

  firstChecks(advice) {
    const { equipment } = advice;
    return [
      `Compare the dials with the fleet file: ${equipment?.name ?? 'the chiller'} ${show('temperature', equipment?.setpointC)}; every heater should be set at least 1 °C lower, and switch off below where the chiller starts (common practice).`,
      'Compare the probes of both controllers with an independent thermometer: one that reads wrong makes its equipment fight.',
      beforeReachingIn(advice),
      'Until it is mended, switch off whichever the season does not need, and watch the temperature.',
      electricalWork,
      husbandry,
    ];
  },
});

/** While none of them switches, or two run together for long. */
function quietOf({ breachedSinceMs, togetherSinceMs }: State, chiller: Draw, context: RuleContext<Settings>): Quiet | undefined {
  const coolingWatts = chillerOnWatts(context.equipment);
  const heatingWatts = heaterOnWatts(null);
  const draws = sameDraw(chiller, [coolingWatts, coolingWatts / 2]);
  if (draws === null || breachedSinceMs !== null) return undefined;
  const within: Record<string, Band> = { ...draws };
  for (let number = 1; ; number += 1) {
    const draw = readNumberedDraw(context, 'heater', number, context.settings.supplyVolts);
    if (draw === null) return quietWithin(within, togetherSinceMs === null ? Number.POSITIVE_INFINITY : togetherSinceMs + TOGETHER_MS);
    const one = sameDraw(draw, [heatingWatts, heatingWatts / 2], `heater-${number}.`);
    if (one === null) return undefined;
    Object.assign(within, one);
  }
}

function heatersRunning(context: RuleContext<Settings>): { readonly running: boolean | null } | { readonly why: string } {
  let running: boolean | null = false;
  for (let number = 1; ; number += 1) {
    const draw = readNumberedDraw(context, 'heater', number, context.settings.supplyVolts);
    if (draw === null) return { running };
    if (draw.by === null) return { why: draw.why };
    const one = isRunning(draw, heaterOnWatts(null));
    if (one === true) running = true;
    else if (one === null && running === false) running = null;
  }
}

const unseen = (before: State): State => (before.heating === null && before.cooling === null ? before : { ...before, heating: null, cooling: null, heatedMs: null, cooledMs: null, togetherSinceMs: null });

function follow(before: State, heating: boolean, cooling: boolean, context: RuleContext<Settings>): State {
  const switched = heating !== before.heating || cooling !== before.cooling ? withSwitch(before, heating, cooling, context) : before;
  const { nowMs, settings } = context;
  const isTogether = switched.togetherSinceMs !== null && nowMs - switched.togetherSinceMs >= TOGETHER_MS;
  const lastChangeMs = switched.changesMs.at(-1) ?? null;
  const recent = isTogether || (lastChangeMs !== null && switched.changesMs.length >= settings.changes && nowMs - lastChangeMs < COUNTED_MS && switched.changesMs.filter((at) => at > nowMs - COUNTED_MS).length >= settings.changes);
  if (switched.breachedSinceMs === null) return recent ? { ...switched, breachedSinceMs: nowMs, foughtMs: nowMs } : switched;
  const foughtMs = Math.max(switched.foughtMs ?? switched.breachedSinceMs, lastChangeMs ?? 0);
  // Kept up to an hour behind, so that running together does not write with every reading.
  if (isTogether) return nowMs - foughtMs >= HOUR ? { ...switched, foughtMs: nowMs } : switched;
  return nowMs - foughtMs >= OVER_MS ? { ...switched, changesMs: [], foughtMs: null, breachedSinceMs: null } : switched;
}

function withSwitch(before: State, heating: boolean, cooling: boolean, { nowMs, settings }: RuleContext<Settings>): State {
  const heatStarts = heating && before.heating === false;
  const coolStarts = cooling && before.cooling === false;
  const within = (stoppedMs: number | null): boolean => stoppedMs !== null && nowMs - stoppedMs <= settings.window;
  const isChange = (heatStarts && (cooling || within(before.cooledMs))) || (coolStarts && (heating || within(before.heatedMs)));
  return {
    ...before,
    heating,
    cooling,
    heatedMs: heating ? null : before.heating === true ? nowMs : before.heatedMs,
    cooledMs: cooling ? null : before.cooling === true ? nowMs : before.cooledMs,
    togetherSinceMs: heating && cooling ? before.togetherSinceMs ?? nowMs : null,
    changesMs: isChange ? [...before.changesMs.filter((at) => at > nowMs - COUNTED_MS), nowMs].slice(-CHANGES_KEPT) : before.changesMs,
  };
}

function breached(state: State, chiller: Draw, { nowMs, equipment, settings }: RuleContext<Settings>): Verdict {
  const changes = state.changesMs.filter((at) => at > nowMs - COUNTED_MS).length;
  const together = state.togetherSinceMs === null ? null : nowMs - state.togetherSinceMs;
  const name = equipment?.name ?? 'the chiller';
  const evidence: Evidence[] = [
    { label: 'Now', value: `${state.heating === true ? 'heating' : 'not heating'}, ${state.cooling === true ? 'cooling' : 'not cooling'}`, ...(chiller.by === null ? {} : { atMs: chiller.atMs }) },
    { label: `Change-overs within ${showDuration(settings.window)}, in 12 h`, value: `${changes} (fighting from ${settings.changes})` },
  ];
  if (together !== null) evidence.push({ label: 'Running together for', value: showDuration(together), atMs: nowMs - together });
  if (state.foughtMs !== null) evidence.push({ label: 'Fighting since', value: showDuration(nowMs - (state.breachedSinceMs ?? nowMs)), atMs: state.breachedSinceMs ?? nowMs });
  const how = together !== null && together >= TOGETHER_MS
    ? `and a heater have run together for ${showDuration(together)}`
    : changes >= settings.changes ? `and a heater have taken turns ${changes} times in 12 h, one starting within ${showDuration(settings.window)} of the other` : 'and a heater have worked against each other within the last hours';
  return { state: 'breached', summary: `${name} ${how}: one undoes what the other does`, evidence };
}
