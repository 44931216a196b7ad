/**
 * A top-off that does not come, while the sump falls.
 *
 * Problem: a dead top-off pump or a float jammed in the high position shows nowhere: the reservoir is full, nothing rings. Water goes by one percent a day, salinity climbs by a third of a unit
 * (from 35, for every percent lost), and in the end the return pump draws air.
 * Method: breached when the pump has not run for more than twice the pause that four of five of late stay under (six hours at least), and the sump stands lower by `fall` than when it last ran. Neither alone rings: a pump
 * rests longer in moist weather or after water was poured in, and a sump falls when somebody turns up the return pump. Pauses are learnt from the last 12 runs, four of them at least.
 *
 * High, on-delay 30 min: nothing is lost before morning. `fall` 8 mm: gauges are good to a millimetre or two, and a float has some play. Common practice, no source.
 */
import { z } from 'zod';
import { DAY, HOUR, MINUTE, showDuration } from '../../domain/duration.ts';
import { show } from '../../domain/units.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { quantile } from '../../physics/statistics/median.ts';
import { beforeReachingIn, electricalWork, husbandry } from '../cautions.ts';
import { defineRule, type Quiet, type RuleContext } from '../contract.ts';
import { drawRoles, isDrawing, missingDraw, readDraw, tooCoarse } from '../draw.ts';
import { between, quietWithin, sameDraw } from '../quiet.ts';
import { supplyVolts } from '../settings.ts';
import { cameBackFromSilence } from '../step.ts';
import { unknown, whyNotCurrent } from '../unknown.ts';

const settings = z.strictObject({
  fall: z.number().min(2).max(500).default(8).describe('So many mm the water must stand lower than when the pump last ran. Default 8.'),
  supplyVolts,
});
type Settings = z.infer<typeof settings>;

const RESTS_KEPT = 12;
const RESTS_NEEDED = 4;
const LEAST_OVERDUE_MS = 6 * HOUR;
/** Longer pauses were a fault, and teach nothing. */
const LONGEST_LEARNT_MS = 2 * DAY;

const state = z.strictObject({
  on: z.boolean().nullable(),
  /** When it last stopped, and where the water stood then. */
  stoppedMs: z.number().nullable(),
  stoppedMm: z.number().nullable(),
  restsMin: z.array(z.number()).max(RESTS_KEPT),
});
type State = z.infer<typeof state>;

export default defineRule<Settings, State>({
  kind: 'top-off-failed',
  watchesFor: 'No top-off while the water falls.',
  settings,
  state,
  initial: { on: null, stoppedMs: null, stoppedMm: null, restsMin: [] },
  policy: { priority: 'high', onDelayMs: 30 * MINUTE, offDelayMs: 2 * HOUR },

  apply(facts) {
    const levels = facts.points.filter(({ kind, equipmentId, tankId }) => kind === 'level' && equipmentId === null && tankId === facts.tank.id);
    // The weir keeps the level of a display with a sump below.
    const water = levels.find(({ place }) => place === 'sump') ?? (facts.tank.sumpLitres > 0 ? undefined : levels.find(({ place }) => place === 'display'));
    return facts.equipment.filter(({ kind }) => kind === 'top-off-pump').map((pump) => ({
      subject: pump.id,
      title: `${pump.name} does not run`,
      roles: { ...drawRoles(facts, pump), ...(water === undefined ? {} : { water: water.id }) },
      equipment: pump,
      missing: missingDraw(facts, pump) ?? (water === undefined ? `no level point in the ${facts.tank.sumpLitres > 0 ? 'sump' : 'display'}` : null),
      defaults: {},
    }));
  },

  step(before, input, context) {
    const draw = readDraw(context, context.settings.supplyVolts);
    if (draw.by === null) return { state: before.on === null ? before : { ...before, on: null }, verdict: unknown(draw.why) };
    const onWatts = Math.max(2, 0.3 * (context.equipment?.nameplateWatts ?? 0));
    const on = isDrawing(draw, onWatts);
    if (on === null) return { state: before, verdict: unknown(tooCoarse) };
    const water = context.current('water');
    const state = input.type === 'reading' && input.role === draw.by ? follow(before, on, draw.atMs, water?.value ?? null, cameBackFromSilence(context, draw.by)) : before;
    if (state.restsMin.length < RESTS_NEEDED) return { state, verdict: unknown(`learning how often it runs: ${state.restsMin.length} of ${RESTS_NEEDED} pauses seen`), quiet: state.on === on ? quietWithin(sameDraw(draw, [onWatts])) : undefined };
    if (water === null) return { state, verdict: unknown(whyNotCurrent(context, 'water')) };
    return { state, verdict: judge(state, water.value, context), quiet: state.on === on ? quietOf(state, sameDraw(draw, [onWatts]), water.value, context) : undefined };
  },

  firstChecks(advice) {
    const name = advice.equipment?.name ?? 'the top-off pump';
    return [
      beforeReachingIn(advice),
      `Lower the float by hand: does ${name} run? If so, the float or its sensor was jammed or covered (snails, salt creep); clean it.`,
      `If not: plug, controller and its own time-out (many give up after a long run and want a reset), then ${name} itself: blocked, or dry in an empty reservoir.`,
      'Follow the hose: kinked, off, blocked by growth at its end.',
      'Measure salinity, and make up a large deficit in steps over a day (common practice: no more than 1 psu a day).',
      electricalWork,
      husbandry,
    ];
  },
});

function follow(before: State, on: boolean, atMs: number, mm: number | null, afterSilence: boolean): State {
  if (on === before.on) return before;
  if (!on) return { ...before, on, stoppedMs: before.on === null ? before.stoppedMs : atMs, stoppedMm: before.on === null ? before.stoppedMm : mm };
  const restMs = before.on === null || before.stoppedMs === null || afterSilence ? null : atMs - before.stoppedMs;
  const learns = restMs !== null && restMs <= LONGEST_LEARNT_MS;
  return { ...before, on, restsMin: learns ? [...before.restsMin, Math.round(restMs / MINUTE)].slice(-RESTS_KEPT) : before.restsMin };
}

/** While it runs, or the water stands high enough, or it is not overdue. */
function quietOf({ on, stoppedMs, stoppedMm, restsMin }: State, draws: ReturnType<typeof sameDraw>, mm: number, { settings: { fall } }: RuleContext<Settings>): Quiet | undefined {
  if (draws === null || on === true || stoppedMs === null || stoppedMm === null) return quietWithin(draws);
  if (stoppedMm - mm < fall) return quietWithin({ ...draws, water: between(mm, stoppedMm - fall) });
  return quietWithin(draws, stoppedMs + Math.max(LEAST_OVERDUE_MS, 2 * usualRestMs(restsMin)));
}

/** Short runs are missed by a slow meter, and two pauses then look like one: not the longest counts. */
const usualRestMs = (restsMin: readonly number[]): number => (quantile(restsMin, 0.8) ?? Number.NaN) * MINUTE;

function judge({ on, stoppedMs, stoppedMm, restsMin }: State, mm: number, context: RuleContext<Settings>): Verdict {
  if (on === true || stoppedMs === null || stoppedMm === null) return clear;
  const restMs = context.nowMs - stoppedMs;
  const fallMm = stoppedMm - mm;
  if (fallMm < context.settings.fall) return clear;
  const usualMs = usualRestMs(restsMin);
  if (restMs <= Math.max(LEAST_OVERDUE_MS, 2 * usualMs)) return clear;
  const evidence: Evidence[] = [
    { label: 'Has not run for', value: showDuration(restMs), atMs: stoppedMs },
    { label: 'Usual pause, at the most', value: showDuration(usualMs) },
    { label: 'Water now', value: mm, kind: 'level' },
    { label: 'Water when it last ran', value: stoppedMm, kind: 'level', atMs: stoppedMs },
    { label: 'Fallen by', value: show('level', fallMm) },
  ];
  return { state: 'breached', summary: `${context.equipment?.name ?? 'the top-off pump'} has not run for ${showDuration(restMs)} (it usually pauses for no more than ${showDuration(usualMs)}), and the water has fallen by ${show('level', fallMm)}`, evidence };
}
