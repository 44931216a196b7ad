/** The draws of several pieces of equipment under one rule: each has its meters under a prefix of its own (`heater-1.power`). */
import type { Equipment, Point } from '../domain/fleet.ts';
import type { Latest, RuleContext, TankFacts } from './contract.ts';
import { type Draw, type DrawContext, drawRoles, readDraw } from './draw.ts';

const prefixes = ['heater', 'chiller', 'light', 'pump', 'other'] as const;
export type DrawPrefix = (typeof prefixes)[number];

/** More pieces of a sort than any tank has. */
const MOST = 16;
const meters = ['power', 'current', 'voltage', 'energy', 'switch'] as const;
type Meter = (typeof meters)[number];
type Names = Readonly<Record<Meter, string>>;

/** Put together once: these are looked up for every reading. */
const names: Readonly<Record<string, readonly Names[]>> = Object.fromEntries(prefixes.map((prefix) => [prefix, Array.from({ length: MOST }, (_, index) => namesOf(`${prefix}-${index + 1}`))]));

function namesOf(numbered: string): Names {
  return { power: `${numbered}.power`, current: `${numbered}.current`, voltage: `${numbered}.voltage`, energy: `${numbered}.energy`, switch: `${numbered}.switch` };
}

/** Roles for all of `pieces` (the first 16), numbered from 1 within `prefix`. */
export function severalDrawRoles(facts: TankFacts, pieces: readonly Equipment[], prefix: DrawPrefix): Readonly<Record<string, string>> {
  return Object.fromEntries(pieces.slice(0, MOST).flatMap((piece, index) => Object.entries(drawRoles(facts, piece)).map(([role, id]) => [`${prefix}-${index + 1}.${role}`, id] as const)));
}

/** @param number from 1. @returns `null`: there is no such piece, or it has no meter. */
export function readNumberedDraw(context: RuleContext<unknown>, prefix: DrawPrefix, number: number, assumedVolts: number): Draw | null {
  const roles = names[prefix]?.[number - 1];
  if (roles === undefined) return null;
  const power = context.current(roles.power);
  if (power !== null) return { by: 'power', watts: power.value, marginWatts: 0, atMs: power.atMs };
  if (context.point(roles.power) === null && context.point(roles.current) === null && context.point(roles.energy) === null && context.point(roles.switch) === null) return null;
  return readDraw(new OnePiece(context, roles), assumedVolts);
}

/** Latest readings of the meters of this piece that show a switch at once (no counter), by role. */
export function numberedMeters(context: RuleContext<unknown>, prefix: DrawPrefix, number: number): readonly (readonly [role: string, latest: Latest])[] {
  const roles = names[prefix]?.[number - 1];
  if (roles === undefined) return [];
  return [roles.power, roles.current, roles.switch].flatMap((role) => {
    const latest = context.latest(role);
    return latest === null ? [] : [[role, latest] as const];
  });
}

/** The context as a rule about this piece alone would see it. */
class OnePiece implements DrawContext {
  readonly #context: RuleContext<unknown>;
  readonly #names: Names;

  constructor(context: RuleContext<unknown>, roles: Names) {
    this.#context = context;
    this.#names = roles;
  }

  point(role: string): Point | null {
    return this.#context.point(this.#names[role as Meter]);
  }

  current(role: string): Latest | null {
    return this.#context.current(this.#names[role as Meter]);
  }

  latest(role: string): Latest | null {
    return this.#context.latest(this.#names[role as Meter]);
  }

  previous(role: string): Latest | null {
    return this.#context.previous(this.#names[role as Meter]);
  }

  offline(role: string): string | null {
    return this.#context.offline(this.#names[role as Meter]);
  }

  doubted(role: string): string | null {
    return this.#context.doubted(this.#names[role as Meter]);
  }
}
