/**
 * A return pump that does not pump.
 *
 * Problem: without it display and sump are two tanks: the display loses oxygen exchange, filter and heater, within hours in a stocked tank (common
 * practice: 1–4 h in a heavily stocked marine one).
 * Method: breached when the pump draws less than 20 % of its normal, or its switch is off, or its flow is near zero. Normal is learnt: the median of its
 * running draw, one value in ten minutes at first and one an hour later, the last 24 kept; speed-controlled pumps run far below their nameplate. Until
 * six values are in, the nameplate stands in for it, and a draw between standby and 20 % of the nameplate is called unknown, not stopped.
 * Running again from 30 %. Near zero flow: under a tenth of the display's volume per hour, where 3–10 volumes per hour are common practice.
 * A tank without a return pump lives by its filter: there every circulation pump with a meter is watched the same way.
 * A seized or air-locked pump may go on drawing: only a flow point shows that.
 *
 * On-delay 15 min: feeding pauses switch the pump off for about 10 min (common practice), and fifteen are still early against an hour.
 * When everything else on the tank that runs all day and is measured is at zero or silent too, the summary says so: then it looks like the circuit or the
 * mains. By day it also looks like a visit, and is given the time of one (`hands.ts`).
 */
import { z } from 'zod';
import { HOUR, MINUTE, showDuration } from '../../domain/duration.ts';
import type { Equipment } from '../../domain/fleet.ts';
import { show } from '../../domain/units.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { beforeReachingIn, electricalWork, husbandry } from '../cautions.ts';
import { defineRule, type Proposal, type Quiet, type RuleContext, type TankFacts } from '../contract.ts';
import { type Draw, drawRoles, isDrawing, readDraw, showDraw, tooCoarse } from '../draw.ts';
import { handsAreLikely, visitLasts } from '../hands.ts';
import { median } from '../median.ts';
import { between, quietWithin } from '../quiet.ts';
import { runsAllDay } from '../runs.ts';
import { supplyVolts } from '../settings.ts';
import { equipmentById } from '../subject.ts';
import { unknown, whyNotCurrent } from '../unknown.ts';

const settings = z.strictObject({
  normalWatts: z.number().positive().nullable().default(null).describe('Draw in W of the pump at its usual speed; null: learnt from what it draws. Set it after lowering the speed for good.'),
  stoppedBelow: z.number().min(1).max(90).default(20).describe('Stopped below so many percent of the normal draw. Default 20.'),
  visitLasts,
  minFlow: z.number().min(0).nullable().default(null).describe('Flow in L/h below which the water counts as standing; null: a tenth of the display volume per hour.'),
  supplyVolts,
});
type Settings = z.infer<typeof settings>;

const NORMALS_KEPT = 24;
const NORMALS_NEEDED = 6;
/** Plug meters are good for 1–2 % above about 5 W (common practice): less may be standby. */
const STANDBY_WATTS = 5;
/** Running again at this multiple of the threshold: 30 % where stopped is 20 %. */
const AGAIN = 1.5;
const OTHERS_WATCHED = 12;

const state = z.strictObject({
  /** Running draw of late, W, oldest first. */
  normals: z.array(z.number()).max(NORMALS_KEPT),
  /** Their median, once there are enough of them. */
  normalWatts: z.number().nullable(),
  learntMs: z.number().nullable(),
  stoppedSinceMs: z.number().nullable(),
});
type State = z.infer<typeof state>;

export default defineRule<Settings, State>({
  kind: 'return-pump-stopped',
  watchesFor: 'A return pump that draws next to nothing, is switched off, or moves no water.',
  settings,
  state,
  initial: { normals: [], normalWatts: null, learntMs: null, stoppedSinceMs: null },
  policy: { priority: 'urgent', onDelayMs: 15 * MINUTE, offDelayMs: 5 * MINUTE },

  apply(facts) {
    const pumps = facts.equipment.filter(({ kind }) => kind === 'return-pump');
    if (pumps.length > 0) return pumps.map((pump) => proposalFor(pump, facts));
    // Without a sump, what moves the water of the display is its filter; stream pumps beside a return pump run by programmes of their own, and are watched where the fleet file asks for it.
    return facts.equipment.filter(({ kind }) => kind === 'circulation-pump').map((pump) => proposalFor(pump, facts)).filter(({ missing }) => missing === null);
  },

  applyTo(facts, subject) {
    const pump = equipmentById(facts, subject);
    return pump?.kind === 'circulation-pump' ? proposalFor(pump, facts) : `only return pumps and circulation pumps can be watched for standing still, and “${subject}” is neither`;
  },

  step(before, _input, context) {
    const draw = readDraw(context, context.settings.supplyVolts);
    const flow = context.current('flow');
    if (draw.by === null && flow === null) {
      return { state: before, verdict: unknown(hasMeter(context) ? draw.why : whyNotCurrent(context, 'flow')) };
    }

    const learnt = learn(before, draw, context);
    const byDraw = stoppedByDraw(learnt, draw, context);
    const stillStanding = learnt.stoppedSinceMs !== null;
    const byFlow = flow === null ? null : flow.value < minFlowOf(context) * (stillStanding ? AGAIN : 1);
    if (byDraw === true || byFlow === true) {
      const state = learnt.stoppedSinceMs === null ? { ...learnt, stoppedSinceMs: context.nowMs } : learnt;
      return { state, verdict: mayBeVisit(state, context) ? clear : breached(state, draw, byFlow === true, context) };
    }
    if (byDraw === null && byFlow === null) return { state: learnt, verdict: unknown(whyUndecided(draw, context)) };
    const state = learnt.stoppedSinceMs === null ? learnt : { ...learnt, stoppedSinceMs: null };
    return { state, verdict: clear, quiet: quietOf(state, draw, context) };
  },

  firstChecks(advice) {
    const name = advice.equipment?.name ?? 'the pump';
    return [
      'Ask the site whether somebody is feeding or working on the tank, and whether lamps and other equipment there are on.',
      'If other equipment is off too: breaker or residual-current device (GFCI/RCD). Find out why it tripped before resetting it.',
      beforeReachingIn(advice),
      `If only ${name} is off: plug, timer or controller in feed mode; then inlet and impeller for snails, sand and calcium, and the water level in its chamber (it must not run dry).`,
      'Until it runs: keep air or a circulation pump going in the display, feed nothing, and watch for water draining back into the sump.',
      electricalWork,
      husbandry,
    ];
  },
});

function proposalFor(pump: Equipment, facts: TankFacts): Proposal {
  const flow = facts.points.find(({ kind, equipmentId }) => kind === 'flow' && equipmentId === pump.id);
  const own: Record<string, string> = { ...drawRoles(facts, pump), ...(flow === undefined ? {} : { flow: flow.id }) };
  const missing = Object.keys(own).length > 0 ? null : `no power, current, energy, switch or flow point on ${pump.name}`;
  return { subject: pump.id, title: `${pump.name} stopped`, roles: { ...own, ...otherRoles(pump, facts) }, equipment: pump, missing, defaults: {} };
}

/** What else on the tank shows whether there is mains. */
function otherRoles(pump: Equipment, facts: TankFacts): Record<string, string> {
  const powered = facts.points.filter(({ kind, equipmentId, tankId }) =>
    tankId === facts.tank.id && equipmentId !== pump.id && (kind === 'power' || kind === 'current') &&
    facts.equipment.some(({ id, kind: other }) => id === equipmentId && runsAllDay.has(other)));
  return Object.fromEntries(powered.slice(0, OTHERS_WATCHED).map((point, index) => [`other-${index + 1}`, point.id]));
}

function normalWattsOf(state: State, { settings }: RuleContext<Settings>): number | null {
  return settings.normalWatts ?? state.normalWatts;
}

/** @returns `null` when the draw does not tell. */
function stoppedByDraw(state: State, draw: Draw, context: RuleContext<Settings>): boolean | null {
  if (draw.by === null) return null;
  if (draw.by === 'switch') return !draw.on;
  const share = context.settings.stoppedBelow / 100;
  const again = state.stoppedSinceMs === null ? 1 : AGAIN;
  const normal = normalWattsOf(state, context);
  if (normal !== null) return not(isDrawing(draw, normal * share * again));
  const nameplate = context.equipment?.nameplateWatts ?? null;
  if (nameplate === null) return isDrawing(draw, STANDBY_WATTS) === true ? false : null;
  if (isDrawing(draw, nameplate * share) === true) return false;
  return isDrawing(draw, standbyOf(nameplate, share)) === false ? true : null;
}

const not = (value: boolean | null): boolean | null => (value === null ? null : !value);

const standbyOf = (nameplateWatts: number, share: number): number => Math.min(STANDBY_WATTS, nameplateWatts * share);

/** Takes one value of the running draw in ten minutes until there are enough, one an hour from then on. */
function learn(before: State, draw: Draw, context: RuleContext<Settings>): State {
  if (draw.by === null || draw.by === 'switch' || context.settings.normalWatts !== null) return before;
  if (before.learntMs !== null && draw.atMs - before.learntMs < learnsEveryMs(before)) return before;
  const share = context.settings.stoppedBelow / 100;
  const normal = normalWattsOf(before, context);
  const nameplate = context.equipment?.nameplateWatts ?? null;
  const least = normal !== null ? normal * share : nameplate === null ? STANDBY_WATTS : standbyOf(nameplate, share);
  if (isDrawing(draw, least) !== true) return before;
  const normals = [...before.normals, Math.round(draw.watts * 10) / 10].slice(-NORMALS_KEPT);
  return { ...before, normals, normalWatts: normals.length >= NORMALS_NEEDED ? median(normals) : null, learntMs: draw.atMs };
}

/** While it runs, until the next value of its draw is taken. */
function quietOf(state: State, draw: Draw, context: RuleContext<Settings>): Quiet | undefined {
  if (draw.by !== 'power') return undefined;
  const share = context.settings.stoppedBelow / 100;
  const normal = normalWattsOf(state, context);
  const nameplate = context.equipment?.nameplateWatts ?? null;
  const marks = normal !== null ? [normal * share] : nameplate === null ? [STANDBY_WATTS] : [nameplate * share, standbyOf(nameplate, share)];
  const flow = context.current('flow');
  const within = { power: between(draw.watts, ...marks), ...(flow === null ? {} : { flow: between(flow.value, minFlowOf(context)) }) };
  if (context.settings.normalWatts !== null) return quietWithin(within);
  return state.learntMs === null ? undefined : quietWithin(within, state.learntMs + learnsEveryMs(state));
}

const learnsEveryMs = ({ normals }: State): number => (normals.length < NORMALS_NEEDED ? 10 * MINUTE : HOUR);

function minFlowOf({ settings, tank }: RuleContext<Settings>): number {
  return settings.minFlow ?? 0.1 * tank.displayLitres;
}

function hasMeter(context: RuleContext<Settings>): boolean {
  return ['power', 'current', 'energy', 'switch'].some((role) => context.point(role) !== null);
}

function whyUndecided(draw: Draw, { equipment, settings }: RuleContext<Settings>): string {
  if (draw.by === 'energy') return tooCoarse;
  const nameplate = equipment?.nameplateWatts ?? null;
  return nameplate === null
    ? 'has not been seen running yet, and no nameplate power is entered to compare with'
    : `draws less than ${settings.stoppedBelow} % of its nameplate; learning whether that is its normal speed`;
}

function breached(state: State, draw: Draw, standing: boolean, context: RuleContext<Settings>): Verdict {
  const { nowMs, equipment } = context;
  const since = state.stoppedSinceMs ?? nowMs;
  const normal = normalWattsOf(state, context) ?? equipment?.nameplateWatts ?? null;
  const flow = context.current('flow');
  const evidence: Evidence[] = [];
  if (draw.by === 'power' || draw.by === 'current' || draw.by === 'energy') evidence.push({ label: draw.by === 'power' ? 'Draws' : `Draws (from the ${draw.by})`, value: draw.watts, kind: 'power', atMs: draw.atMs });
  if (draw.by === 'switch') evidence.push({ label: 'Switch', value: showDraw(draw), atMs: draw.atMs });
  if (normal !== null && draw.by !== 'switch') evidence.push({ label: 'Normal draw', value: normal, kind: 'power' });
  if (flow !== null) evidence.push({ label: 'Flow', value: flow.value, kind: 'flow', atMs: flow.atMs });
  evidence.push({ label: 'Stopped for', value: showDuration(Math.max(0, nowMs - since)), atMs: since });
  const others = otherEquipment(context);
  if (others !== null) evidence.push({ label: 'Other equipment', value: others });
  return { state: 'breached', summary: `${whatStopped(draw, standing, flow, normal, context)}${others === null ? '' : `; ${others}`}`, evidence };
}

function whatStopped(draw: Draw, standing: boolean, flow: { readonly value: number } | null, normal: number | null, context: RuleContext<Settings>): string {
  const name = context.equipment?.name ?? 'the pump';
  const drawn = draw.by === null ? null : draw.by === 'switch' ? `is ${showDraw(draw)}` : `draws ${showDraw(draw)}${normal === null ? '' : ` where ${normal.toFixed(0)} W are normal`}`;
  if (standing && flow !== null) {
    const moved = `moves ${show('flow', flow.value)}, next to nothing`;
    return drawn === null ? `${name} ${moved}` : `${name} ${moved}, and ${drawn}`;
  }
  return `${name} ${drawn ?? 'is stopped'}${flow === null ? '' : `, yet its flow reads ${show('flow', flow.value)}: one of the two is wrong`}`;
}

/** Everything stands (or a filter, and nothing else that runs all day is measured), by day, and not for longer than somebody works on a tank. */
function mayBeVisit({ stoppedSinceMs }: State, context: RuleContext<Settings>): boolean {
  return context.nowMs - (stoppedSinceMs ?? context.nowMs) < context.settings.visitLasts && handsAreLikely(context.site, context.nowMs)
    && (otherEquipment(context) !== null || (context.equipment?.kind !== 'return-pump' && context.point('other-1') === null));
}

/** Says so when all other measured equipment that runs all day is at zero or silent; `null` when some of it runs, or none is measured. */
function otherEquipment(context: RuleContext<Settings>): string | null {
  let zero = 0;
  let silent = 0;
  for (let index = 1; index <= OTHERS_WATCHED; index += 1) {
    const point = context.point(`other-${index}`);
    if (point === null) break;
    const value = context.current(`other-${index}`);
    if (value === null) silent += 1;
    else if (value.value > (point.kind === 'power' ? 2 : 0.03)) return null;
    else zero += 1;
  }
  if (zero + silent === 0) return null;
  const others = zero + silent === 1 ? 'the other measured piece of equipment that runs all day' : `all ${zero + silent} other measured pieces of equipment that run all day`;
  const how = silent === 0 ? 'at zero' : zero === 0 ? 'silent' : 'at zero or silent';
  return `${others} ${zero + silent === 1 ? 'is' : 'are'} ${how} too, which looks like the circuit or the mains`;
}
