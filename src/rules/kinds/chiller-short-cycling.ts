/**
 * A chiller whose compressor starts too often or restarts too soon.
 *
 * Problem: a compressor that restarts against head pressure draws locked-rotor current, trips its overload and dies early; and a tank without its
 * chiller overheats. Causes are cheap to mend (dirty condenser, too little flow, a thermostat with too narrow a band), if somebody knows.
 *
 * Method: on and off from power, current, counter or switch, with hysteresis: on from 10 % of the nameplate (at least 15 W), off below half of it.
 * Breached when the last 60 min held more than 12 starts, or at least 3 starts after less than 180 s off. Clear when they no longer do.
 * Nothing is claimed that the readings do not prove. They come every 30–60 s, so an off-time is only known within bounds: counted is the *longest* it
 * can have been, from the last reading that proves running to the next that does. Short stops between two readings are missed and starts counted are a
 * lower bound. Start-up inrush (3–6 times running current) lasts less than a second and is part of "on". A reading between the two
 * thresholds neither proves on nor off. A start after a silence, or seen by another meter than the stop before it, is not counted.
 *
 * Sources: at most 12 starts per hour, 2 min minimum run and 3 min (180 s) time-out between stop and start recommended: Danfoss, scroll compressor
 * application guideline FRCC.PC.007, p. 27. Minimum off-times of 150–180 s are also the defaults of commercial refrigeration controllers; an insurer's loss note
 * (HSB, The Locomotive) names short cycling against near-full head pressure, and a delay timer as the cure. Guidance for compressors in
 * general; a chiller's own manual goes before it.
 */
import { z } from 'zod';
import { HOUR, MINUTE, SECOND, showDuration } from '../../domain/duration.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { beforeReachingIn, electricalWork } from '../cautions.ts';
import { defineRule, type RuleContext, type RuleInput } from '../contract.ts';
import { type Draw, drawRoles, isDrawing, missingDraw, readDraw, showDraw, tooCoarse } from '../draw.ts';
import { quietWithin, sameDraw } from '../quiet.ts';
import { chillerOnWatts, isRunning } from '../running.ts';
import { duration, supplyVolts } from '../settings.ts';
import { cameBackFromSilence } from '../step.ts';
import { unknown } from '../unknown.ts';

const settings = z.strictObject({
  maxStartsPerHour: z.int().min(1).max(60).default(12).describe('More starts than this in 60 minutes is short-cycling. Default 12.'),
  minOff: duration(10 * SECOND, 30 * MINUTE).default(180 * SECOND).describe('A restart after a shorter off-time than this is too soon, such as 3m. Default 180 s.'),
  shortOffs: z.int().min(1).max(30).default(3).describe('So many restarts that come too soon within 60 minutes are short-cycling. Default 3.'),
  onWatts: z.number().positive().nullable().default(null).describe('Draw in W from which the compressor counts as running; null: 10 % of the nameplate, at least 15 W. Set it above the draw of a feed pump on the same outlet.'),
  supplyVolts,
});
type Settings = z.infer<typeof settings>;

/** At one start a minute, the most a 30 s cadence can show, an hour fits. */
const STARTS_KEPT = 64;

const state = z.strictObject({
  /** The meter this is read from; another one starts afresh. */
  by: z.enum(['power', 'current', 'energy', 'switch']).nullable(),
  on: z.boolean().nullable(),
  /** While off: the last moment that proves running. */
  lastOnMs: z.number().nullable(),
  /** Starts of late, oldest first: when, and the longest it can have been off before; `null` where that is not known. */
  starts: z.array(z.tuple([z.number(), z.number().nullable()])).max(STARTS_KEPT),
});
type State = z.infer<typeof state>;

export default defineRule<Settings, State>({
  kind: 'chiller-short-cycling',
  watchesFor: 'A chiller that starts too often, or again too soon after it stopped.',
  settings,
  state,
  initial: { by: null, on: null, lastOnMs: null, starts: [] },
  // A chiller rests all night, and chatters again when it is called: the same news.
  policy: { priority: 'high', onDelayMs: 0, offDelayMs: 20 * HOUR },

  apply(facts) {
    return facts.equipment.filter(({ kind }) => kind === 'chiller').map((chiller) => ({
      subject: chiller.id,
      title: `${chiller.name} short-cycling`,
      roles: drawRoles(facts, chiller),
      equipment: chiller,
      missing: missingDraw(facts, chiller),
      defaults: {},
    }));
  },

  step(before, input, context) {
    const draw = readDraw(context, context.settings.supplyVolts);
    if (draw.by === null) return { state: before.by === null ? before : { by: null, on: null, lastOnMs: null, starts: before.starts }, verdict: unknown(draw.why) };
    const state = input.type === 'reading' && input.role === draw.by ? follow(before, input, draw, context) : before;
    const counts = countLastHour(state, context);
    if (counts.starts > context.settings.maxStartsPerHour || counts.shortOffs >= context.settings.shortOffs) {
      return { state, verdict: breached(counts, draw, context) };
    }
    // While it goes on doing what it does: starts only grow old.
    const onWatts = onWattsOf(context);
    const quiet = state.by === draw.by && state.on === isRunning(draw, onWatts) ? quietWithin(sameDraw(draw, [onWatts, onWatts / 2])) : undefined;
    return { state, verdict: state.on === null ? unknown(draw.by === 'energy' ? tooCoarse : 'has not been seen clearly on or off yet') : clear, quiet };
  },

  // It speaks of an hour.
  surelyAfterMs: () => HOUR,

  firstChecks(advice) {
    return [
      'Listen and look before touching: does it hum and click off after seconds (overload), or run and stop by its thermostat?',
      beforeReachingIn(advice),
      'Check that the condenser and its grille are free of dust and have air around them, and that water flows through: prefilter, feed pump, kinked hose.',
      'Check its thermostat: a difference of 0.5–1 °C between on and off, and at least 1 °C from the setpoint of the heaters (common practice).',
      'If it keeps restarting, have it switched off for at least 5 minutes before the next start, and watch the temperature of the water meanwhile.',
      'The refrigerant circuit and the start gear inside are for a refrigeration technician; its manual goes before these figures.',
      electricalWork,
    ];
  },
});

function onWattsOf({ settings, equipment }: RuleContext<Settings>): number {
  return settings.onWatts ?? chillerOnWatts(equipment);
}

function follow(before: State, input: RuleInput & { type: 'reading' }, draw: Draw, context: RuleContext<Settings>): State {
  if (draw.by === null) return before;
  const onWatts = onWattsOf(context);
  const provesOn = isDrawing(draw, onWatts) === true;
  const provesOff = isDrawing(draw, onWatts / 2) === false;
  if (before.by !== draw.by || cameBackFromSilence(context, input.role)) {
    const on = provesOn ? true : provesOff ? false : null;
    return before.by === draw.by && before.on === on && before.lastOnMs === null ? before : { by: draw.by, on, lastOnMs: null, starts: before.starts };
  }
  if (provesOff && before.on !== false) return { ...before, on: false, lastOnMs: before.on === true ? lastProofOfRunningMs(draw, onWatts, context) : null };
  if (provesOn && before.on !== true) {
    if (before.on === null) return { ...before, on: true, lastOnMs: null };
    const longestOffMs = before.lastOnMs === null ? null : draw.atMs - before.lastOnMs;
    const recent = before.starts.filter(([atMs]) => atMs > draw.atMs - HOUR);
    return { ...before, on: true, lastOnMs: null, starts: [...recent, [draw.atMs, longestOffMs] as [number, number | null]].slice(-STARTS_KEPT) };
  }
  return before;
}

/** When the reading before the stop proves that it ran; `null` when that one lay between on and off. */
function lastProofOfRunningMs(draw: Draw & { readonly by: string }, onWatts: number, context: RuleContext<Settings>): number | null {
  const previous = context.previous(draw.by);
  if (previous === null) return null;
  switch (draw.by) {
    case 'power':
      return previous.value >= onWatts ? previous.atMs : null;
    case 'current':
      return previous.value * (context.current('voltage')?.value ?? context.settings.supplyVolts) >= onWatts ? previous.atMs : null;
    case 'switch':
      return previous.value >= 0.5 ? previous.atMs : null;
    default: {
      // A counter averages: in the interval before, it may have run at the beginning only.
      const intervalMs = Math.max(context.point('energy')?.everyMs ?? 0, draw.atMs - previous.atMs);
      return previous.atMs - intervalMs;
    }
  }
}

interface Counts {
  readonly starts: number;
  readonly shortOffs: number;
  /** The shortest of them, at its longest. */
  readonly shortestOffMs: number | null;
}

function countLastHour({ starts }: State, { nowMs, settings: { minOff } }: RuleContext<Settings>): Counts {
  let count = 0;
  let shortOffs = 0;
  let shortestOffMs: number | null = null;
  for (const [atMs, offMs] of starts) {
    if (atMs <= nowMs - HOUR) continue;
    count += 1;
    if (offMs === null || offMs >= minOff) continue;
    shortOffs += 1;
    if (shortestOffMs === null || offMs < shortestOffMs) shortestOffMs = offMs;
  }
  return { starts: count, shortOffs, shortestOffMs };
}

function breached({ starts, shortOffs, shortestOffMs }: Counts, draw: Draw, { equipment, settings }: RuleContext<Settings>): Verdict {
  const name = equipment?.name ?? 'the chiller';
  const tooSoon = shortOffs >= settings.shortOffs && shortestOffMs !== null
    ? `${shortOffs} restarts after less than ${showDuration(settings.minOff)} off (the shortest at most ${showDuration(shortestOffMs)})`
    : null;
  const tooOften = starts > settings.maxStartsPerHour ? `${starts} starts in the last hour, more than ${settings.maxStartsPerHour}` : null;
  const evidence: Evidence[] = [
    { label: 'Starts in the last hour, at least', value: String(starts) },
    { label: `Restarts after less than ${showDuration(settings.minOff)} off`, value: String(shortOffs) },
  ];
  if (shortestOffMs !== null) evidence.push({ label: 'Shortest off-time, at most', value: showDuration(shortestOffMs) });
  if (draw.by !== null) evidence.push({ label: 'Now', value: showDraw(draw), atMs: draw.atMs });
  return { state: 'breached', summary: `${name}: ${[tooOften, tooSoon].filter((part) => part !== null).join(', and ')}`, evidence };
}
