/**
 * A pump that runs, but draws markedly less or more than it used to: dry, air-locked, clogged, or about to seize.
 *
 * Problem: a pump that turns in air destroys its bearing within hours, a clogging one starves the display over weeks; both go on "running". A magnet-driven centrifugal pump draws less
 * when it moves less (air, a clogged intake, a closed outlet), and more when something drags on its impeller.
 * Method: the draw while running against the normal one of this very pump (`src/physics/equipment/`: median and MAD of its healthy hours, learnt within half a day, frozen when
 * in doubt). Two doors:
 *   - at once: further from normal than `suddenPercent` and 6 standard deviations in every reading for 8 min, before the sump and the thermometers tell of what follows; a feeding
 *     pause is a stop, not a shift. Where the gauge of the sump has risen meanwhile by what drains down from a display that is no longer fed (`ROSE`), a quarter of `suddenPercent` is
 *     enough: two witnesses of different kinds;
 *   - slowly: a CUSUM of its hours has decided, and the recent draw lies `shiftPercent` from normal. That finds a pump that clogs over days, which a threshold on one reading does not.
 * Not judged while it stands (`return-pump-stopped` speaks) or while the supply is off by more than 7 %: draw follows the voltage. Speed-controlled pumps with a programme scatter
 * widely, and are judged by that scatter. After a change of pump, impeller or speed enter the day as `changedOn`.
 * The percentages are our own choice; plug meters are good to 1–2 % (common practice).
 */
import { z } from 'zod';
import { HOUR, MINUTE, showDuration } from '../../domain/duration.ts';
import type { Kind } from '../../domain/kinds.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { drawShift, equipmentStart, normalDraw, rememberDraw } from '../../physics/equipment/baseline.ts';
import { beforeReachingIn, electricalWork } from '../cautions.ts';
import { defineRule, type Quiet, type RuleContext, type RuleInput } from '../contract.ts';
import { type Draw, drawRoles, readDraw, tooCoarse } from '../draw.ts';
import { equipmentMemory } from '../memories.ts';
import { between } from '../quiet.ts';
import { duration, supplyVolts } from '../settings.ts';
import { sumpGauge } from '../sump-level.ts';
import { nominalVoltsOf } from '../supply.ts';
import { unknown } from '../unknown.ts';

const settings = z.strictObject({
  shiftPercent: z.number().min(4).max(80).default(8).describe('A lasting shift of the draw counts from so many percent on. Default 8.'),
  suddenPercent: z.number().min(10).max(80).default(20).describe('A shift by so many percent counts within minutes. Default 20.'),
  suddenFor: duration(5 * MINUTE, 6 * HOUR).default(8 * MINUTE).describe('How long a sudden shift must last, such as 8m. Default 8 min.'),
  changedOn: z.iso.date({ error: 'write a day, such as "2026-03-14"' }).nullable().default(null).describe('Day on which pump, impeller or speed was last changed, such as 2026-03-14: what was learnt before is forgotten.'),
  supplyVolts,
});
type Settings = z.infer<typeof settings>;

const state = z.strictObject({
  memory: equipmentMemory,
  sampledMs: z.number().nullable(),
  /** Of the memory, reckoned when it last changed; `null`: being learnt. */
  normal: z.strictObject({ watts: z.number(), sigmaWatts: z.number() }).nullable(),
  /** What it draws of late, when the CUSUM of its hours has decided. */
  shiftedWatts: z.number().nullable(),
  /** Far from normal in every reading since. */
  suddenSinceMs: z.number().nullable(),
  sudden: z.boolean(),
  /** How high the sump stood when the draw was last normal; `null`: not known, or nothing measures it. */
  sumpBefore: z.number().nullable(),
});
type State = z.infer<typeof state>;

const SAMPLE_EVERY_MS = 5 * MINUTE;
const SUDDEN_SIGMAS = 6;
const VOLTAGE_SHARE = 0.07;
const STANDBY_WATTS = 2;
/** The sump has risen by that much, by what its gauge measures: more than ripples and evaporation between two looks (common practice). */
const ROSE: Partial<Record<Kind, number>> = { level: 10, fill: 3 };
const ROSE_VOLUME_SHARE = 0.04;

export default defineRule<Settings, State>({
  kind: 'pump-draw-shifted',
  watchesFor: 'A pump that runs but draws markedly less or more than it used to: dry, clogged or dragging.',
  settings,
  state,
  initial: { memory: equipmentStart, sampledMs: null, normal: null, shiftedWatts: null, suddenSinceMs: null, sudden: false, sumpBefore: null },
  policy: { priority: 'high', onDelayMs: 0, offDelayMs: 30 * MINUTE },

  apply(facts) {
    return facts.equipment.filter(({ kind }) => kind === 'return-pump' || kind === 'circulation-pump').flatMap((pump) => {
      const { switch: _switch, ...meters } = drawRoles(facts, pump);
      const measured = Object.keys(meters).length > 0;
      // Nobody measures every stream pump; the return pump is worth saying that it could be.
      if (!measured && pump.kind !== 'return-pump') return [];
      const volts = facts.points.find(({ kind }) => kind === 'voltage');
      const sump = pump.kind === 'return-pump' ? sumpGauge(facts) : null;
      return [{
        subject: pump.id,
        title: `${pump.name} dry, clogged or dragging`,
        roles: { ...meters, ...(volts === undefined ? {} : { voltage: volts.id }), ...(sump === null ? {} : { sump: sump.id }) },
        equipment: pump,
        missing: measured ? null : `no power, current or energy point on ${pump.name}`,
        defaults: {},
        ...(pump.kind === 'return-pump' ? {} : { policy: { priority: 'low' as const } }),
      }];
    });
  },

  step(before, input, context) {
    const draw = readDraw(context, context.settings.supplyVolts);
    if (draw.by === null || draw.by === 'switch') return { state: settled(before), verdict: unknown(draw.by === null ? draw.why : 'nothing measures what it draws') };
    if (draw.marginWatts > 0.1 * draw.watts && draw.watts > STANDBY_WATTS) return { state: before, verdict: unknown(tooCoarse) };
    const state = input.type === 'reading' && input.role === draw.by ? follow(before, input, draw, context) : before;
    const verdict = judge(state, draw, context);
    return { state, verdict, quiet: quietOf(state, draw, context) };
  },

  surelyAfterMs: ({ suddenFor }) => suddenFor,

  firstChecks(advice) {
    const name = advice.equipment?.name ?? 'the pump';
    return [
      'Listen, or ask the site to: rattling and gurgling are air; a hum without flow is a rotor that does not turn. Look at the water level in the pump chamber: it must not run dry.',
      beforeReachingIn(advice),
      `Less than usual: prefilter, intake and hoses of ${name} clogged, outlet throttled, or air in the housing (bleed it).`,
      'More than usual: impeller and shaft dragging on calcium, sand or a snail; clean it in vinegar or citric acid, out of the tank.',
      'If somebody has changed the speed, the pump or an impeller, enter that day as changedOn: it learns afresh from then on.',
      electricalWork,
    ];
  },
});

const settled = (state: State): State => (state.suddenSinceMs === null ? state : { ...state, suddenSinceMs: null });

/** Below a fifth of what is normal it stands. */
function onWatts({ normal }: State, { equipment }: RuleContext<Settings>): number {
  return Math.max(STANDBY_WATTS, 0.2 * (normal?.watts ?? equipment?.nameplateWatts ?? 0));
}

function follow(before: State, input: RuleInput & { type: 'reading' }, draw: Exclude<Draw, { by: null | 'switch' }>, context: RuleContext<Settings>): State {
  const on = onWatts(before, context);
  const { settings } = context;
  const offVoltage = isOffVoltage(context);
  const changedMs = settings.changedOn === null ? null : Date.parse(`${settings.changedOn}T00:00:00Z`);
  let state = before;
  if (draw.watts >= on && !offVoltage && (before.sampledMs === null || input.atMs - before.sampledMs >= SAMPLE_EVERY_MS)) {
    const memory = rememberDraw(before.memory, { atMs: input.atMs, watts: draw.watts, healthy: !before.sudden && before.suddenSinceMs === null }, { onWatts: on, partsChangedMs: changedMs });
    state = { ...before, memory, sampledMs: input.atMs, normal: normalDraw(memory), shiftedWatts: drawShift(memory)?.recentWatts ?? null };
  }
  const { normal } = state;
  const sump = context.current('sump')?.value ?? null;
  const suddenPercent = draw.watts < (normal?.watts ?? 0) && hasRisen(state, sump, context) ? settings.suddenPercent / 4 : settings.suddenPercent;
  const far = normal !== null && draw.watts >= on && !offVoltage
    && Math.abs(draw.watts - normal.watts) > Math.max((suddenPercent / 100) * normal.watts, SUDDEN_SIGMAS * normal.sigmaWatts);
  // While it stands or the supply is off, nothing is learnt of the fault.
  if (draw.watts < on || offVoltage) return settled(state);
  if (!far) {
    const isNormal = normal !== null && Math.abs(draw.watts - normal.watts) <= Math.max(0.02 * normal.watts, 3 * normal.sigmaWatts);
    const looked = isNormal && state !== before ? { ...state, sumpBefore: sump } : state;
    return looked.suddenSinceMs === null && !looked.sudden ? looked : { ...looked, suddenSinceMs: null, sudden: false };
  }
  const suddenSinceMs = state.suddenSinceMs ?? input.atMs;
  const sudden = state.sudden || input.atMs - suddenSinceMs >= settings.suddenFor;
  return suddenSinceMs === state.suddenSinceMs && sudden === state.sudden ? state : { ...state, suddenSinceMs, sudden };
}

/** Between two samples, while it stands or draws about what is normal. */
function quietOf(state: State, draw: Draw, context: RuleContext<Settings>): Quiet | undefined {
  if (draw.by !== 'power' || state.suddenSinceMs !== null || state.sudden) return undefined;
  const on = onWatts(state, context);
  if (draw.watts < on) return { untilMs: Number.POSITIVE_INFINITY, within: { power: between(draw.watts, on) } };
  if (state.sampledMs === null || isOffVoltage(context)) return undefined;
  const { normal } = state;
  // As near as is normal whether or not the sump has risen.
  const nearWatts = normal === null ? Number.POSITIVE_INFINITY : Math.max((context.settings.suddenPercent / 400) * normal.watts, SUDDEN_SIGMAS * normal.sigmaWatts);
  if (normal !== null && Math.abs(draw.watts - normal.watts) > nearWatts) return undefined;
  const volts = context.current('voltage');
  const nominal = volts === null ? 0 : nominalVoltsOf(volts.value);
  return {
    untilMs: state.sampledMs + SAMPLE_EVERY_MS,
    within: {
      power: normal === null ? between(draw.watts, on) : between(draw.watts, on, normal.watts - nearWatts, normal.watts + nearWatts),
      ...(volts === null ? {} : { voltage: between(volts.value, nominal * (1 - VOLTAGE_SHARE), nominal * (1 + VOLTAGE_SHARE)) }),
    },
  };
}

function hasRisen({ sumpBefore }: State, sump: number | null, context: RuleContext<Settings>): boolean {
  const kind = context.point('sump')?.kind ?? null;
  if (sumpBefore === null || sump === null || kind === null) return false;
  return sump - sumpBefore >= (ROSE[kind] ?? ROSE_VOLUME_SHARE * context.tank.sumpLitres);
}

function isOffVoltage(context: RuleContext<Settings>): boolean {
  const volts = context.current('voltage');
  return volts !== null && Math.abs(volts.value / nominalVoltsOf(volts.value) - 1) > VOLTAGE_SHARE;
}

function judge(state: State, draw: Exclude<Draw, { by: null | 'switch' }>, context: RuleContext<Settings>): Verdict {
  const { normal, shiftedWatts, sumpBefore } = state;
  if (normal === null) return unknown('its normal draw is being learnt: it takes twelve hours of running');
  if (state.sudden) return breached(draw.watts, normal, state.suddenSinceMs, sumpBefore, context);
  if (shiftedWatts === null || Math.abs(shiftedWatts - normal.watts) < (context.settings.shiftPercent / 100) * normal.watts) return clear;
  return breached(shiftedWatts, normal, null, null, context);
}

function breached(watts: number, normal: { readonly watts: number; readonly sigmaWatts: number }, sinceMs: number | null, sumpBefore: number | null, context: RuleContext<Settings>): Verdict {
  const percent = (100 * (watts - normal.watts)) / normal.watts;
  const less = percent < 0;
  const evidence: Evidence[] = [
    { label: sinceMs === null ? 'Draw of the last hours' : 'Draw', value: watts, kind: 'power' },
    { label: 'Normal draw', value: normal.watts, kind: 'power' },
    { label: 'It usually wavers by', value: `± ${normal.sigmaWatts.toFixed(1)} W` },
    { label: 'Shift', value: `${less ? '' : '+'}${percent.toFixed(0)} %, ${Math.abs((watts - normal.watts) / normal.sigmaWatts).toFixed(0)} times what it usually wavers by` },
  ];
  const sump = context.current('sump');
  if (sump !== null && sumpBefore !== null) evidence.push({ label: 'Sump', value: sump.value, kind: context.point('sump')?.kind ?? 'level', atMs: sump.atMs }, { label: 'Sump before', value: sumpBefore, kind: context.point('sump')?.kind ?? 'level' });
  if (sinceMs !== null) evidence.push({ label: 'For', value: showDuration(Math.max(0, context.nowMs - sinceMs)), atMs: sinceMs });
  const why = less ? 'air, a clogged intake or a throttled outlet' : 'something that drags on its impeller';
  return { state: 'breached', summary: `${context.equipment?.name ?? 'the pump'} draws ${watts.toFixed(0)} W where ${normal.watts.toFixed(0)} W are normal (${less ? '' : '+'}${percent.toFixed(0)} %): ${why}`, evidence };
}
