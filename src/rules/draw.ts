/**
 * Is a piece of equipment drawing power? Read from whatever is installed, best first: a power meter (W), a current meter (A), an energy
 * counter (kWh), a switch.
 *
 * - Current is taken for power with the site's voltage where that is measured, otherwise with an assumed supply voltage. That is apparent power:
 *   right for heaters, somewhat high for motors.
 * - A counter gives the mean power between its last two readings, give or take one count. A roll-over is counted
 *   across; a counter that was reset, or silent in between, gives nothing for that interval. One that counts too coarsely for its cadence is left undecided, not guessed.
 * - A switch says what was commanded, not what is drawn.
 */
import type { Equipment, Point } from '../domain/fleet.ts';
import { kinds } from '../domain/kinds.ts';
import { between, countOf } from '../physics/counter.ts';
import type { RuleContext, TankFacts } from './contract.ts';
import { whyNotCurrent } from './unknown.ts';

export type Draw =
  | { readonly by: 'power' | 'current' | 'energy'; readonly watts: number; /** Half-width of what cannot be told. */ readonly marginWatts: number; readonly atMs: number }
  | { readonly by: 'switch'; readonly on: boolean; readonly atMs: number }
  | { readonly by: null; readonly why: string };

const meters = ['power', 'current', 'energy', 'switch'] as const;

/** Roles for the meters of `equipment`, with the site's supply voltage where a current is all there is. Empty: nothing installed tells. */
export function drawRoles(facts: TankFacts, equipment: Equipment): Readonly<Record<string, string>> {
  const roles: Record<string, string> = {};
  for (const meter of meters) {
    const point = facts.points.find(({ kind, equipmentId }) => kind === meter && equipmentId === equipment.id);
    if (point !== undefined) roles[meter] = point.id;
  }
  if (roles['current'] !== undefined && roles['power'] === undefined) {
    const voltage = facts.points.find(({ kind, tankId }) => kind === 'voltage' && (tankId === null || tankId === facts.tank.id));
    if (voltage !== undefined) roles['voltage'] = voltage.id;
  }
  return roles;
}

/** Why nothing can be told about the draw of `equipment`; `null` when something is installed. */
export function missingDraw(facts: TankFacts, equipment: Equipment): string | null {
  return Object.keys(drawRoles(facts, equipment)).length > 0 ? null : `no power, current, energy or switch point on ${equipment.name}`;
}

export type DrawContext = Pick<RuleContext<unknown>, 'point' | 'current' | 'latest' | 'previous'> & Partial<Pick<RuleContext<unknown>, 'offline' | 'doubted'>>;

/** @param assumedVolts used where a current is measured and no voltage. */
export function readDraw(context: DrawContext, assumedVolts: number): Draw {
  const power = context.current('power');
  if (power !== null) return { by: 'power', watts: power.value, marginWatts: 0, atMs: power.atMs };
  const current = context.current('current');
  if (current !== null) {
    const volts = context.current('voltage');
    return { by: 'current', watts: current.value * (volts === null ? assumedVolts : volts.value), marginWatts: 0, atMs: current.atMs };
  }
  const counter = context.point('energy');
  if (counter !== null && context.current('energy') !== null) {
    const mean = meanOfCounter(context, counter);
    if (mean.by !== null || context.current('switch') === null) return mean;
  }
  const commanded = context.current('switch');
  if (commanded !== null) return { by: 'switch', on: commanded.value >= 0.5, atMs: commanded.atMs };
  const installed = meters.find((meter) => context.point(meter) !== null);
  return { by: null, why: installed === undefined ? 'nothing installed tells whether it draws power' : whyNotCurrent(context, installed) };
}

/** `true` and `false` only when the reading proves it; `null` between (a coarse counter). */
export function isDrawing(draw: Draw, onWatts: number): boolean | null {
  if (draw.by === null) return null;
  if (draw.by === 'switch') return draw.on;
  if (draw.watts - draw.marginWatts >= onWatts) return true;
  return draw.watts + draw.marginWatts < onWatts ? false : null;
}

/** `498.0 W`, `switched on`. */
export function showDraw(draw: Draw): string {
  if (draw.by === null) return 'unknown';
  if (draw.by === 'switch') return draw.on ? 'switched on' : 'switched off';
  return `${draw.watts.toFixed(draw.watts < 10 ? 1 : 0)} W`;
}

export const tooCoarse = 'the energy counter counts too coarsely for its cadence to tell whether it draws; add a power point, or send the counter less often';

function meanOfCounter(context: DrawContext, counter: Point): Draw {
  const last = context.latest('energy');
  const before = context.previous('energy');
  if (last === null || before === null) return { by: null, why: `${counter.name} needs two readings` };
  const hours = (last.atMs - before.atMs) / 3_600_000;
  if (hours <= 0 || last.atMs - before.atMs > counter.silentAfterMs) return { by: null, why: `${counter.name} was silent between its last two readings` };
  const counted = between(before, last, kinds.power.range[1] / 1000);
  if (counted.how === 'reset') return { by: null, why: `${counter.name} was reset between its last two readings` };
  if (counted.by === null) return { by: null, why: last.value < before.value ? `${counter.name} went back, and neither a reset nor a roll-over explains it` : `${counter.name} jumped by more than can be drawn` };
  const watts = (counted.by * 1000) / hours;
  const countKWh = Math.min(countOf(last.value), countOf(before.value));
  return { by: 'energy', watts, marginWatts: (countKWh * 1000) / hours, atMs: last.atMs };
}
