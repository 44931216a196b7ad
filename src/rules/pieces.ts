/**
 * What each of several pieces of equipment does, and since when: told from their meters, kept in a state that changes only when one starts or stops.
 * Shared by the rules that tell a lost supply from equipment that was switched off one by one.
 */
import { z } from 'zod';
import { HOUR, MINUTE } from '../domain/duration.ts';
import type { Equipment, Point } from '../domain/fleet.ts';
import type { Band, RuleContext, RuleInput, TankFacts } from './contract.ts';
import { between, noValue } from './quiet.ts';
import { shows, showsFrom } from './runs.ts';

/** Role → running or not, since when it is known, and the longest pause it made of late by itself. */
export const piecesState = z.record(z.string(), z.strictObject({ on: z.boolean(), sinceMs: z.number(), longestOffMs: z.number() }));
export type Pieces = z.infer<typeof piecesState>;

/** Longer pauses are somebody's doing, and teach nothing. */
const LONGEST_LEARNT_MS = 20 * HOUR;
/** Falls within this, and the cadence of the meters, are one. */
const TOGETHER_MS = MINUTE;

export interface Metered {
  readonly equipment: Equipment;
  readonly point: Point;
}

/** Equipment with a meter that shows its draw, of the tank first, then of the other tanks of the site. A switch says what was commanded, not what is drawn. */
export function meteredOnSite(facts: TankFacts): readonly Metered[] {
  const points = [...facts.points, ...facts.neighbours.points];
  return [...facts.equipment, ...facts.neighbours.equipment].flatMap((equipment) => {
    const own = points.filter(({ equipmentId }) => equipmentId === equipment.id);
    const point = own.find(({ kind }) => kind === 'power') ?? own.find(({ kind }) => kind === 'current');
    return point === undefined ? [] : [{ equipment, point }];
  });
}

export const rolesOf = (prefix: string, metered: readonly Metered[]): Readonly<Record<string, string>> => Object.fromEntries(metered.map(({ point }, index) => [`${prefix}-${index + 1}`, point.id]));

/** Takes a reading in; the same object when that piece goes on doing what it did. */
export function followPieces(before: Pieces, input: RuleInput, prefix: string, context: RuleContext<unknown>): Pieces {
  if (input.type !== 'reading' || !input.role.startsWith(prefix)) return before;
  const point = context.point(input.role);
  if (point === null) return before;
  const on = shows(point.kind, input.value);
  const was = before[input.role];
  if (was?.on === on) return before;
  const pauseMs = was !== undefined && !was.on ? input.atMs - was.sinceMs : 0;
  const longestOffMs = Math.max(was?.longestOffMs ?? 0, pauseMs <= LONGEST_LEARNT_MS ? pauseMs : 0);
  // What was off when it was first seen has not been seen to fall.
  return { ...before, [input.role]: { on, sinceMs: was === undefined && !on ? NEVER_SEEN_ON : input.atMs, longestOffMs } };
}

const NEVER_SEEN_ON = 0;

export interface Fallen {
  readonly role: string;
  readonly point: Point;
  /** `null`: it was off when it was first seen. */
  readonly sinceMs: number | null;
  /** When it has been off for longer than it ever pauses by itself; `null`: it has not been seen to pause and start again. */
  readonly overdueMs: number | null;
}

/** All pieces in these roles that deliver now: off, with what is known of it; `null` when one runs. @returns an empty list when none delivers. */
export function allOff(pieces: Pieces, prefix: string, context: RuleContext<unknown>): readonly Fallen[] | null {
  const off: Fallen[] = [];
  for (let index = 1; ; index += 1) {
    const role = `${prefix}-${index}`;
    const point = context.point(role);
    if (point === null) return off;
    const now = context.current(role);
    if (now === null) continue;
    if (shows(point.kind, now.value)) return null;
    const piece = pieces[role];
    const sinceMs = piece === undefined || piece.on || piece.sinceMs === NEVER_SEEN_ON ? null : piece.sinceMs;
    const cycles = piece !== undefined && piece.longestOffMs > 0 && sinceMs !== null;
    off.push({ role, point, sinceMs, overdueMs: cycles ? sinceMs + 1.25 * piece.longestOffMs + 10 * MINUTE : null });
  }
}

/** Values by role with which each of these pieces goes on doing what it does. */
export function piecesStay(pieces: Pieces, prefixes: readonly string[], context: RuleContext<unknown>): Readonly<Record<string, Band>> {
  const within: Record<string, Band> = {};
  for (const prefix of prefixes) {
    for (let index = 1; ; index += 1) {
      const role = `${prefix}-${index}`;
      const point = context.point(role);
      if (point === null) break;
      const known = pieces[role];
      const latest = context.latest(role);
      // One that was seen too late to be judged is told from the next reading.
      const isSettled = known !== undefined && latest !== null && shows(point.kind, latest.value) === known.on;
      within[role] = isSettled ? between(latest.value, showsFrom(point.kind)) : noValue;
    }
  }
  return within;
}

/** The largest group that fell at once, as far as the cadence of their meters tells. */
export function fellTogether(fallen: readonly Fallen[]): readonly Fallen[] {
  let largest: readonly Fallen[] = [];
  for (const one of fallen) {
    const { sinceMs } = one;
    if (sinceMs === null) continue;
    const group = fallen.filter((other) => other.sinceMs !== null && other.sinceMs >= sinceMs && other.sinceMs - sinceMs <= TOGETHER_MS + Math.max(one.point.everyMs, other.point.everyMs));
    if (group.length > largest.length) largest = group;
  }
  return largest;
}
