/**
 * A top-off pump that runs on and on.
 *
 * Problem: a jammed float or a welded relay pours the whole reservoir into the tank: the sump runs over, and the salinity falls within hours by what evaporation moves in days.
 * Method: running (power, current, counter or switch) without a pause for longer than `maxRun`. A run takes 1–5 min (common practice); ten leave room for the deficit after a visit, and six times as long is allowed for the
 * first run after the reservoir was empty. Readings before and
 * after a silence are not one run. Not judged while the reservoir is empty: then the pump runs because nothing comes, and `top-off-empty` speaks. A run that was too long before stays found until
 * somebody has filled the reservoir up again: what it has poured in is still there.
 *
 * Urgent: water on the floor and a fall of salinity do not wait for the morning.
 */
import { z } from 'zod';
import { HOUR, MINUTE, showDuration } from '../../domain/duration.ts';
import { show } from '../../domain/units.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { beforeReachingIn, electricalWork, husbandry } from '../cautions.ts';
import { defineRule, type Quiet, type RuleContext } from '../contract.ts';
import { type Draw, drawRoles, isDrawing, missingDraw, readDraw, showDraw, tooCoarse } from '../draw.ts';
import { between, quietWithin, sameDraw } from '../quiet.ts';
import { percentFull, reservoirProposals } from '../reservoir.ts';
import { duration, supplyVolts } from '../settings.ts';
import { cameBackFromSilence } from '../step.ts';
import { unknown } from '../unknown.ts';

const settings = z.strictObject({
  maxRun: duration(MINUTE, 6 * HOUR).default(10 * MINUTE).describe('Longest run of the pump, such as 10m. Default 10 min.'),
  fullMm: z.number().positive().nullable().default(null).describe('What the level point of the reservoir reads when full, mm; by itself that of the reservoir.'),
  capacityLitres: z.number().positive().nullable().default(null).describe('Contents of the full reservoir, L; by itself that of the reservoir.'),
  supplyVolts,
});
type Settings = z.infer<typeof settings>;

const state = z.strictObject({ runningSinceMs: z.number().nullable(), startLevel: z.number().nullable(), /** The reservoir was empty, and what is missing has not been made up yet. */ deficit: z.boolean(), /** It was found to run on, and has emptied the reservoir. */ emptied: z.boolean().default(false) });
type State = z.infer<typeof state>;

const resting: State = { runningSinceMs: null, startLevel: null, deficit: false, emptied: false };
const starved: State = { ...resting, deficit: true };
/** After the reservoir was empty, a run makes up for what is missing. */
const DEFICIT_RUNS = 6;
const EMPTY_PERCENT = 5;
const FILLED_PERCENT = 15;

export default defineRule<Settings, State>({
  kind: 'top-off-stuck-on',
  watchesFor: 'A top-off pump that runs without end.',
  settings,
  state,
  initial: resting,
  policy: { priority: 'urgent', onDelayMs: 0, offDelayMs: 2 * MINUTE },

  apply(facts) {
    const sump = facts.points.find(({ kind, place, equipmentId, tankId }) => kind === 'level' && place === 'sump' && equipmentId === null && tankId === facts.tank.id);
    const reservoirs = reservoirProposals(facts, '').filter(({ missing }) => missing === null);
    // Which reservoir feeds which pump is known only where there is one of each.
    const gauge = reservoirs.length === 1 ? reservoirs[0] : undefined;
    return facts.equipment.filter(({ kind }) => kind === 'top-off-pump').map((pump) => ({
      subject: pump.id,
      title: `${pump.name} stuck on`,
      roles: { ...drawRoles(facts, pump), ...(sump === undefined ? {} : { sump: sump.id }), ...gauge?.roles },
      equipment: pump,
      missing: missingDraw(facts, pump),
      defaults: gauge?.equipment == null ? {} : { ...(gauge.equipment.fullMm === null ? {} : { fullMm: gauge.equipment.fullMm }), ...(gauge.equipment.capacityLitres === null ? {} : { capacityLitres: gauge.equipment.capacityLitres }) },
    }));
  },

  step(before, input, context) {
    const draw = readDraw(context, context.settings.supplyVolts);
    if (draw.by === null) return { state: before.runningSinceMs === null ? before : { ...before, runningSinceMs: null, startLevel: null }, verdict: unknown(draw.why) };
    if (before.emptied || isEmpty(context)) {
      if (!before.emptied && !isTooLong(before, context)) return { state: before.runningSinceMs === null && before.deficit ? before : starved, verdict: clear };
      if (isFilledUp(context)) return { state: resting, verdict: clear };
      const emptied = before.emptied ? before : { ...before, emptied: true };
      return { state: emptied, verdict: breached(emptied, draw, context) };
    }
    const on = isDrawing(draw, onWattsOf(context));
    if (on === null) return { state: before, verdict: unknown(tooCoarse) };
    // A run that ended by itself has made up what was missing; before it, the deficit stands.
    if (!on) return { state: before.runningSinceMs === null ? before : resting, verdict: clear, quiet: before.runningSinceMs === null ? quietOf(draw, context) : undefined };
    const interrupted = input.type === 'reading' && input.role === draw.by && cameBackFromSilence(context, draw.by);
    const started = before.runningSinceMs === null || (interrupted && !isTooLong(before, context));
    const state = started ? { runningSinceMs: draw.atMs, startLevel: context.current('sump')?.value ?? null, deficit: before.deficit, emptied: false } : before;
    return { state, verdict: isTooLong(state, context) ? breached(state, draw, context) : clear };
  },

  surelyAfterMs: ({ maxRun }) => maxRun,

  firstChecks(advice) {
    const name = advice.equipment?.name ?? 'the top-off pump';
    return [
      `Ring the site: have somebody look whether water runs over, and switch ${name} off, at the breaker if anything is wet.`,
      beforeReachingIn(advice),
      'Float or sensor jammed by snails or salt creep? Hose fallen off, kinked or leaking, so that nothing arrives? A relay that has welded needs replacing.',
      'See that the hose ends above the water: under it, a siphon goes on when the pump stops.',
      'Measure salinity. If much fresh water has come in, bring it back slowly, by no more than 1 psu a day (common practice).',
      electricalWork,
      husbandry,
    ];
  },
});

/** Little pumps: a third of the nameplate, at least 2 W. */
function onWattsOf({ equipment }: RuleContext<Settings>): number {
  return Math.max(2, 0.3 * (equipment?.nameplateWatts ?? 0));
}

const allowedMs = ({ deficit }: State, { settings }: RuleContext<Settings>): number => settings.maxRun * (deficit ? DEFICIT_RUNS : 1);

const isTooLong = (state: State, context: RuleContext<Settings>): boolean => state.runningSinceMs !== null && context.nowMs - state.runningSinceMs > allowedMs(state, context);

function isFilledUp(context: RuleContext<Settings>): boolean {
  const gauge = context.current('gauge');
  return gauge !== null && percentFull(gauge.value, context.point('gauge')?.kind ?? 'fill', context.settings) > FILLED_PERCENT;
}

/** While it rests, and the reservoir does not run empty. */
function quietOf(draw: Draw, context: RuleContext<Settings>): Quiet | undefined {
  const draws = sameDraw(draw, [onWattsOf(context)]);
  const gauge = context.current('gauge');
  if (draws === null || gauge === null) return quietWithin(draws);
  const percent = percentFull(gauge.value, context.point('gauge')?.kind ?? 'fill', context.settings);
  return quietWithin({ ...draws, gauge: between(gauge.value, (gauge.value * EMPTY_PERCENT) / percent) });
}

function isEmpty(context: RuleContext<Settings>): boolean {
  const gauge = context.current('gauge');
  return gauge !== null && percentFull(gauge.value, context.point('gauge')?.kind ?? 'fill', context.settings) <= EMPTY_PERCENT;
}

function breached(state: State, draw: Draw, context: RuleContext<Settings>): Verdict {
  const { runningSinceMs, startLevel } = state;
  const since = runningSinceMs ?? context.nowMs;
  const ranMs = context.nowMs - since;
  const name = context.equipment?.name ?? 'the top-off pump';
  const evidence: Evidence[] = [
    { label: 'Runs without pause for', value: showDuration(ranMs), atMs: since },
    { label: 'Longest run allowed', value: showDuration(allowedMs(state, context)) },
    { label: 'Draws', value: showDraw(draw) },
  ];
  const gauge = context.current('gauge');
  if (state.emptied && gauge !== null) evidence.push({ label: 'Reservoir', value: `${Math.max(0, percentFull(gauge.value, context.point('gauge')?.kind ?? 'fill', context.settings)).toFixed(0)} % full`, atMs: gauge.atMs });
  const sump = context.current('sump');
  if (sump !== null) {
    evidence.push({ label: 'Sump now', value: sump.value, kind: 'level', atMs: sump.atMs });
    if (startLevel !== null) evidence.push({ label: 'Sump when it began', value: startLevel, kind: 'level' });
  }
  const rose = sump === null || startLevel === null ? '' : sump.value - startLevel >= 2 ? `; the sump has risen by ${show('level', sump.value - startLevel)}` : '; the sump has not risen: the water may go elsewhere, or none comes';
  return { state: 'breached', summary: state.emptied ? `${name} has run without a pause and emptied the reservoir into the tank${rose}` : `${name} has run for ${showDuration(ranMs)} without a pause${rose}`, evidence };
}
