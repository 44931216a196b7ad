/**
 * A circuit that is dead while the site has mains: a tripped breaker or residual-current device, a strip switched off.
 *
 * Problem: it looks like several pieces of equipment failing at once; and a device that tripped may mean that something is live and wet.
 * Method: equipment with the same `circuit` in the fleet file (outlets of one strip count as one: "Strip A, outlet 2") and a power or current meter, two pieces at least. Breached when all that
 * deliver are at zero, and
 *   - two of them fell within a minute and their cadence of each other, one of which runs all day; or
 *   - one that runs all day has been off for 20 min, and since then another has become overdue: off for longer by a quarter than it ever was by itself (a heater that idled when the breaker fell). Where
 *     only a return pump runs all day on it, heaters, chillers and top-off pumps are no witnesses: without flow they have no work; or
 *   - where nothing on it runs all day, every piece that starts and stops by itself is overdue (lamps, beside a fan that rests in winter).
 * Equipment switched off one by one thus does not count. Clear while the supply is gone (`site-power-lost` speaks), and while everything on the *other* circuits that runs all day
 * is at zero as well: then somebody works on the tank, or the mains are gone.
 *
 * Where nothing on other circuits runs all day, a visit with everything unplugged looks the same: by day it is given the time of one (`hands.ts`).
 *
 * High, on-delay 5 min; 12 min where one piece on it runs all day, which may pause for feeding just as a heater stops. Common practice.
 */
import { z } from 'zod';
import { MINUTE, showDuration } from '../../domain/duration.ts';
import type { Equipment } from '../../domain/fleet.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { beforeReachingIn, electricalWork } from '../cautions.ts';
import { defineRule, type Proposal, type RuleContext, type TankFacts } from '../contract.ts';
import { handsAreLikely, visitLasts } from '../hands.ts';
import { allOff, type Fallen, fellTogether, followPieces, type Metered, type Pieces, meteredOnSite, piecesState, piecesStay, rolesOf } from '../pieces.ts';
import { runsAllDay, shows } from '../runs.ts';
import { LEAST_SUPPLY_VOLTS } from '../supply.ts';
import { unknown, whyNotCurrent } from '../unknown.ts';

const settings = z.strictObject({ visitLasts });
type Settings = z.infer<typeof settings>;

const state = z.strictObject({ pieces: piecesState, deadSinceMs: z.number().nullable() });
type State = z.infer<typeof state>;

const PIECES_WATCHED = 12;

/**
 * Roles by what a piece tells. `steady` and `return` run all day; `idle` start and stop by themselves, and have no work while a return pump stands, though their circuit is alive:
 * heaters, chillers, top-off pumps; `piece`: what else starts and stops.
 */
const prefixes = ['return', 'steady', 'piece', 'idle'] as const;
type Off = Readonly<Record<(typeof prefixes)[number], readonly Fallen[]>>;

export default defineRule<Settings, State>({
  kind: 'circuit-lost',
  watchesFor: 'A circuit that is dead while the site has mains.',
  settings,
  state,
  initial: { pieces: {}, deadSinceMs: null },
  policy: { priority: 'high', onDelayMs: 5 * MINUTE, offDelayMs: 5 * MINUTE },

  apply(facts) {
    const metered = meteredOnSite(facts);
    const circuits = new Map<string, Metered[]>();
    for (const one of metered) {
      const circuit = circuitOf(one.equipment);
      if (circuit !== null) circuits.set(circuit, [...(circuits.get(circuit) ?? []), one]);
    }
    return [...circuits].flatMap(([circuit, own]) => proposalFor(circuit, own, metered, facts));
  },

  step(before, input, context) {
    const followed = prefixes.reduce((pieces, prefix) => followPieces(pieces, input, prefix, context), before.pieces);
    const state = followed === before.pieces ? before : { ...before, pieces: followed };
    const off = piecesOff(followed, context);
    // While one piece runs, nothing else matters.
    if (off === null) return { state: alive(state), verdict: clear, quiet: { untilMs: Number.POSITIVE_INFINITY, within: piecesStay(followed, prefixes, context) } };
    const all = Object.values(off).flat();
    if (all.length === 0) return { state, verdict: unknown(whyNotCurrent(context, prefixes.map((prefix) => `${prefix}-1`).find((role) => context.point(role) !== null) ?? 'steady-1')) };
    const wasDead = state.deadSinceMs !== null && context.nowMs - state.deadSinceMs >= SURE_MS;
    // Once found for sure (meters of a visit report one after the other), a visit with everything unplugged does not bring it back to life: something on it has to run.
    if (supplyGone(context) || (!wasDead && (!isDead(off, context.nowMs) || othersStand(context)))) return { state: alive(state), verdict: clear };
    const dead = state.deadSinceMs === null ? { ...state, deadSinceMs: context.nowMs } : state;
    return { state: dead, verdict: mayBeVisit(all, dead, context) ? clear : breached(dead, all, context) };
  },

  firstChecks(advice) {
    return [
      'Ring the site: has somebody switched off a strip, or has a breaker or residual-current device (GFCI/RCD) tripped?',
      'If it has tripped, take it as a warning: something on it may be live and wet. Nobody reaches into the water, and nobody resets it before the reason is known.',
      beforeReachingIn(advice),
      'Unplug everything on the circuit, reset, and plug in one piece after the other: the one that trips it again stays off. Look for drips on plugs and strips (drip loops), and for cracked heaters.',
      'Until it is mended, keep water moving and air going from another circuit, without stretching leads across wet floors.',
      electricalWork,
    ];
  },
});

/** `Strip A, outlet 2` hangs on Strip A. */
function circuitOf({ circuit }: Equipment): string | null {
  const strip = circuit?.replace(/[,;]?\s*(outlet|socket|plug|port)\s*\S*\s*$/i, '').trim() ?? '';
  return strip === '' ? (circuit ?? null) : strip;
}

function proposalFor(circuit: string, own: readonly Metered[], metered: readonly Metered[], facts: TankFacts): readonly Proposal[] {
  const first = own.find(({ equipment }) => equipment.tankId === facts.tank.id);
  // One that several tanks share is watched with the first of them only.
  if (first === undefined || own.length < 2 || own.some(({ equipment }) => equipment.tankId < facts.tank.id)) return [];
  const others = metered.filter((one) => !own.includes(one));
  const volts = facts.points.find(({ kind }) => kind === 'voltage');
  // With nothing else measured it cannot be told from the mains.
  if (others.length === 0 && volts === undefined) return [];
  const steady = own.filter(({ equipment }) => runsAllDay.has(equipment.kind));
  const runAllDay = others.filter(({ equipment }) => runsAllDay.has(equipment.kind));
  return [{
    subject: first.equipment.id,
    title: `${circuit} dead`,
    roles: {
      ...Object.fromEntries(prefixes.flatMap((prefix) => Object.entries(rolesOf(prefix, own.filter(({ equipment }) => prefixOf(equipment) === prefix).slice(0, PIECES_WATCHED))))),
      ...rolesOf('other', runAllDay.slice(0, PIECES_WATCHED)),
      ...(volts === undefined ? {} : { volts: volts.id }),
    },
    equipment: first.equipment,
    missing: null,
    defaults: {},
    policy: { onDelayMs: steady.length >= 2 ? 5 * MINUTE : 12 * MINUTE },
  }];
}

function prefixOf({ kind }: Equipment): (typeof prefixes)[number] {
  if (kind === 'return-pump') return 'return';
  if (runsAllDay.has(kind)) return 'steady';
  return kind === 'heater' || kind === 'chiller' || kind === 'top-off-pump' ? 'idle' : 'piece';
}

/** What delivers and is off, by what it tells; `null`: something runs. */
function piecesOff(pieces: Pieces, context: RuleContext<Settings>): Off | null {
  const [returns, steady, piece, idle] = prefixes.map((prefix) => allOff(pieces, prefix, context));
  return steady == null || returns == null || piece == null || idle == null ? null : { steady, return: returns, piece, idle };
}

/** Nothing elsewhere shows that only this circuit is off, and it is not off for longer than somebody works on a tank. */
function mayBeVisit(fallen: readonly Fallen[], { deadSinceMs }: State, context: RuleContext<Settings>): boolean {
  if (context.point('other-1') !== null || !handsAreLikely(context.site, context.nowMs)) return false;
  const sinceMs = Math.max(...fallen.map(({ sinceMs: since }) => since ?? Number.NEGATIVE_INFINITY));
  return context.nowMs - (Number.isFinite(sinceMs) ? sinceMs : deadSinceMs ?? context.nowMs) < context.settings.visitLasts;
}

const alive = (state: State): State => (state.deadSinceMs === null ? state : { ...state, deadSinceMs: null });

function isDead({ steady, return: returns, piece, idle }: Off, nowMs: number): boolean {
  const runAllDay = [...steady, ...returns];
  const together = fellTogether([...runAllDay, ...piece, ...idle]);
  if (together.length >= 2 && together.some((one) => runAllDay.includes(one))) return true;
  const cycling = [...piece, ...idle].filter(({ overdueMs }) => overdueMs !== null);
  // Of what was ever seen running, all have to be known by their pauses: lamps in their first night are not.
  if (runAllDay.length === 0) return cycling.length > 0 && [...piece, ...idle].every((one) => one.sinceMs === null || isOverdue(one, nowMs));
  const fallMs = Math.max(...runAllDay.map(({ sinceMs }) => sinceMs ?? Number.NEGATIVE_INFINITY));
  const witnesses = steady.length === 0 ? piece : [...piece, ...idle];
  // One that was overdue before the others fell has its own reasons: a heater in summer.
  return nowMs - fallMs >= PAUSE_MS && witnesses.some((one) => isOverdue(one, nowMs) && one.overdueMs !== null && one.overdueMs > fallMs);
}

const isOverdue = ({ overdueMs }: Fallen, nowMs: number): boolean => overdueMs !== null && nowMs > overdueMs;

const SURE_MS = 5 * MINUTE;
/** Feeding and work at a pump take no longer. */
const PAUSE_MS = 20 * MINUTE;

function supplyGone(context: RuleContext<Settings>): boolean {
  const volts = context.current('volts');
  return volts !== null && volts.value < LEAST_SUPPLY_VOLTS;
}

/** Everything on other circuits that runs all day is at zero. */
function othersStand(context: RuleContext<Settings>): boolean {
  let stand = false;
  for (let index = 1; index <= PIECES_WATCHED; index += 1) {
    const point = context.point(`other-${index}`);
    if (point === null) break;
    const now = context.current(`other-${index}`);
    if (now === null) continue;
    if (shows(point.kind, now.value)) return false;
    stand = true;
  }
  return stand;
}

function breached({ deadSinceMs }: State, fallen: readonly Fallen[], context: RuleContext<Settings>): Verdict {
  const since = deadSinceMs ?? context.nowMs;
  const circuit = context.equipment === null ? null : circuitOf(context.equipment);
  const evidence: Evidence[] = fallen.slice(0, 8).map((one) => ({
    label: one.point.name, value: isOverdue(one, context.nowMs) ? 'at zero, for longer than it ever pauses by itself' : 'at zero', ...(one.sinceMs === null ? {} : { atMs: one.sinceMs }),
  }));
  const volts = context.current('volts');
  if (volts !== null) evidence.push({ label: 'Supply', value: volts.value, kind: 'voltage', atMs: volts.atMs });
  evidence.push({ label: 'Dead for', value: showDuration(Math.max(0, context.nowMs - since)), atMs: since });
  const elsewhere = volts === null ? 'equipment on other circuits runs' : `the supply is at ${volts.value.toFixed(0)} V`;
  return { state: 'breached', summary: `all ${fallen.length} metered pieces of equipment on ${circuit ?? 'the circuit'} are at zero, while ${elsewhere}`, evidence };
}
