/** The water of a tank as rules see it: where its temperature is measured, what it can hold, where the hard limits are. */
import type { Point, Tank, Water } from '../domain/fleet.ts';
import { heatCapacityWhPerK } from '../physics/heat.ts';
import type { Latest, Proposal, RuleContext, TankFacts } from './contract.ts';

/** Where the temperature of the water is measured: in the display, otherwise in the sump (the return pump mixes the two). */
export function waterTemperaturePoint(facts: TankFacts): Point | null {
  const inWater = facts.points.filter((point) => point.kind === 'temperature' && point.tankId === facts.tank.id);
  return inWater.find(({ place }) => place === 'display') ?? inWater.find(({ place }) => place === 'sump') ?? null;
}

/** Where the temperature of the air about the tank is measured. */
export function roomTemperaturePoint({ points, tank }: TankFacts): Point | null {
  return points.find(({ kind, place, tankId }) => kind === 'temperature' && place === 'room' && tankId === tank.id)
    ?? points.find(({ kind, tankId, equipmentId }) => kind === 'temperature' && tankId === null && equipmentId === null) ?? null;
}

/** Roles `water` and, where a second thermometer hangs in display or sump, `second`. */
export function thermometerRoles(facts: TankFacts): Readonly<Record<string, string>> {
  const water = waterTemperaturePoint(facts);
  if (water === null) return {};
  const second = facts.points.find(({ id, kind, tankId, place }) => kind === 'temperature' && id !== water.id && tankId === facts.tank.id && (place === 'display' || place === 'sump'));
  return { water: water.id, ...(second === undefined ? {} : { second: second.id }) };
}

/**
 * The water as warm, or as cold, as any of its thermometers has it: what is said of a heater is said only when no thermometer speaks against it. One that drifts, hangs in the
 * air or has frozen is no fault of the heater (`sensors-disagree` tells of it), and with a return pump that stands, display and sump are two waters.
 * Where another rule has found the first wrong, the second stands in for it.
 * @returns `null` when the first is silent; without a second it is the first.
 */
export function waterBy(context: Pick<RuleContext<unknown>, 'current' | 'doubted'>, side: 'warmest' | 'coldest'): Latest | null {
  const water = context.current('water');
  if (water === null) return context.doubted('water') === null ? null : context.current('second');
  const second = context.current('second');
  if (second === null) return water;
  return (side === 'warmest' ? second.value > water.value : second.value < water.value) ? second : water;
}

/** Which of the thermometers `waterBy` has chosen. */
export function roleOf(water: Latest, context: Pick<RuleContext<unknown>, 'current'>): 'water' | 'second' {
  return context.current('water') === water ? 'water' : 'second';
}

/** One proposal for the water of the tank, on the point that measures its temperature (role `water`). @param title after the point's name. */
export function waterProposal(facts: TankFacts, title: string): Proposal {
  const point = waterTemperaturePoint(facts);
  return {
    subject: point?.id ?? `${facts.tank.id}/display-temperature`,
    title: `${point?.name ?? 'Display temperature'} ${title}`,
    roles: point === null ? {} : { water: point.id },
    equipment: null,
    missing: point === null ? 'no temperature point in the display or the sump' : null,
    defaults: {},
  };
}

/**
 * Limits beyond which livestock is at risk, °C. Common practice, no source: marine 22/29, freshwater tropical 21/30; cold water is
 * kept below 20 °C, and 8/22 leaves it room for a warm day.
 */
export const hardLimitsC: Readonly<Record<Water, { readonly low: number; readonly high: number }>> = {
  reef: { low: 22, high: 29 },
  marine: { low: 22, high: 29 },
  fresh: { low: 21, high: 30 },
  cold: { low: 8, high: 22 },
};

/** Heat capacity of display and sump by their nominal volumes, Wh/K, at 25 °C; salt water taken as salinity 35 (fresh holds 2 % more). */
export function tankHeatCapacityWhPerK(tank: Tank): number {
  const salinity = tank.water === 'reef' || tank.water === 'marine' ? 35 : 0;
  return heatCapacityWhPerK(tank.displayLitres + tank.sumpLitres, salinity, 25);
}
