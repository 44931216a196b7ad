/** The draws of several pieces of equipment under one rule: each has its meters under a prefix of its own (`heater-1.power`). */
import type { Equipment } from '../domain/fleet.ts';
import type { RuleContext, TankFacts } from './contract.ts';
import { type Draw, type DrawContext, drawRoles, readDraw } from './draw.ts';

/** Roles for all of `pieces`, numbered from 1 within `prefix`. */
export function severalDrawRoles(facts: TankFacts, pieces: readonly Equipment[], prefix: string): Readonly<Record<string, string>> {
  return Object.fromEntries(pieces.flatMap((piece, index) => Object.entries(drawRoles(facts, piece)).map(([role, id]) => [`${prefix}-${index + 1}.${role}`, id] as const)));
}

/** @returns `null`: no such piece has a meter. */
export function readNumberedDraw(context: RuleContext<unknown>, prefix: string, number: number, assumedVolts: number): Draw | null {
  const numbered = `${prefix}-${number}.`;
  const inner: DrawContext = {
    point: (role) => context.point(numbered + role),
    current: (role) => context.current(numbered + role),
    latest: (role) => context.latest(numbered + role),
    previous: (role) => context.previous(numbered + role),
    offline: (role) => context.offline(numbered + role),
  };
  const hasMeter = inner.point('power') !== null || inner.point('current') !== null || inner.point('energy') !== null || inner.point('switch') !== null;
  return hasMeter ? readDraw(inner, assumedVolts) : null;
}
