/**
 * How high the water usually stands in a sump, learnt from the sump itself; shared by `sump-high` and `sump-low`, which mirror each other.
 *
 * Usual is the median of the last seven days' hours in which the return pump ran: when it stops, what stands in pipes and above the weir drains down and the
 * sump rises, as it should. Outside is further from it than the margin: a tenth of the usual (at least 25 mm where a level is measured), or 4 robust standard
 * deviations where the level goes up and down by itself (a sump topped up by hand). A level that stays elsewhere becomes the usual one within four days:
 * somebody has changed the pump's speed or the weir.
 * Common practice, no source, except the deadband (a fifth of the margin; level 2–5 % of the range in alarm guidance: EEMUA 191 as quoted, ISA-18.2 from memory).
 */
import { z } from 'zod';
import type { Point } from '../domain/fleet.ts';
import type { Kind } from '../domain/kinds.ts';
import { kinds } from '../domain/kinds.ts';
import { median, robustSigma } from '../physics/statistics/median.ts';
import type { Band, Latest, Proposal, RuleContext, TankFacts } from './contract.ts';
import { type Hourly, hourlyState, takeHourly } from './hours.ts';
import { between } from './quiet.ts';
import { shows, showsFrom, telltales } from './runs.ts';

export const usualState = z.strictObject({ hourly: hourlyState, usual: z.number().nullable(), margin: z.number().nullable() });
export type Usual = z.infer<typeof usualState>;

const HOURS_KEPT = 168;
export const HOURS_NEEDED = 24;
const MARGIN_SHARE = 0.1;
const LEAST_MARGIN: Partial<Record<Kind, number>> = { level: 25, fill: 5 };
const MARGIN_SIGMAS = 4;
export const DEADBAND_SHARE = 0.2;

const gauges: readonly Kind[] = ['level', 'volume', 'fill'];

/** One proposal for the sump of the tank: none for a tank without one, or where nothing measures it and no float hangs in it. */
export function sumpProposals(facts: TankFacts, title: string, withFloat: boolean): readonly Proposal[] {
  const inSump = pointsInSump(facts);
  const gauge = sumpGauge(facts) ?? undefined;
  const float = withFloat ? inSump.find(({ kind, id, name }) => kind === 'switch' && /high/i.test(`${id} ${name}`)) : undefined;
  const subject = gauge ?? float;
  if (subject === undefined) return [];
  const pumps = facts.equipment.filter(({ kind }) => kind === 'return-pump');
  const runs = facts.points.filter(({ kind, equipmentId }) => telltales.includes(kind) && pumps.some(({ id }) => id === equipmentId));
  return [{
    subject: subject.id,
    title,
    roles: {
      ...(gauge === undefined ? {} : { gauge: gauge.id }),
      ...(float === undefined ? {} : { float: float.id }),
      ...Object.fromEntries(runs.slice(0, PUMPS_WATCHED).map(({ id }, index) => [`pump-${index + 1}`, id])),
    },
    equipment: null,
    missing: null,
    defaults: {},
  }];
}

const pointsInSump = (facts: TankFacts): readonly Point[] => facts.points.filter(({ place, equipmentId, tankId }) => place === 'sump' && equipmentId === null && tankId === facts.tank.id);

/** What measures how full the sump is. */
export const sumpGauge = (facts: TankFacts): Point | null => pointsInSump(facts).find(({ kind }) => gauges.includes(kind)) ?? null;

const PUMPS_WATCHED = 4;

/** `null`: nothing installed tells, or it is silent. */
export function returnPumpRuns(context: RuleContext<unknown>): boolean | null {
  let known: boolean | null = null;
  for (let index = 1; index <= PUMPS_WATCHED; index += 1) {
    const role = `pump-${index}`;
    const point = context.point(role);
    if (point === null) break;
    const value = context.current(role);
    if (value === null) continue;
    if (!shows(point.kind, value.value)) return false;
    known = true;
  }
  return known;
}

/** Values by role with which `returnPumpRuns` says what it says. */
export function returnPumpsStay(context: RuleContext<unknown>): Readonly<Record<string, Band>> {
  const within: Record<string, Band> = {};
  for (let index = 1; index <= PUMPS_WATCHED; index += 1) {
    const role = `pump-${index}`;
    const point = context.point(role);
    if (point === null) break;
    const value = context.current(role);
    if (value !== null) within[role] = between(value.value, showsFrom(point.kind));
  }
  return within;
}

/** Takes a reading of the gauge into what is usual. The same object when nothing changed. */
export function learnUsual(before: Usual, gauge: Latest, kind: Kind): Usual {
  const hourly = takeHourly(before.hourly, gauge.atMs, gauge.value, kinds[kind].decimals, HOURS_KEPT);
  if (hourly === before.hourly) return before;
  return hourly.hours === before.hourly.hours ? { ...before, hourly } : { hourly, ...usualOf(hourly, kind) };
}

function usualOf({ hours }: Hourly, kind: Kind): { readonly usual: number | null; readonly margin: number | null } {
  const values = hours.map(([, value]) => value);
  const usual = values.length < HOURS_NEEDED ? null : median(values);
  if (usual === null) return { usual: null, margin: null };
  return { usual, margin: Math.max(LEAST_MARGIN[kind] ?? 0, MARGIN_SHARE * Math.abs(usual), MARGIN_SIGMAS * (robustSigma(values) ?? 0)) };
}
