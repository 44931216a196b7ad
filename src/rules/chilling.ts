/** What a chiller does to a tank, at the least. Magnitudes are common practice, no source: 2–3 W of heat out for each electrical watt, less in a hot room. */
import type { Equipment, Tank } from '../domain/fleet.ts';
import type { Proposal, TankFacts } from './contract.ts';
import { drawRoles, missingDraw } from './draw.ts';
import { tankHeatCapacityWhPerK, waterTemperaturePoint } from './water.ts';

/** A chiller in a room of 45 °C against water of 20 °C still does this. */
export const LEAST_CHILLING = 1.2;

/** Heat it takes out of the water, W, at the least; `NaN` without a nameplate. */
export function chillerEffectWatts(chiller: Equipment | null): number {
  return LEAST_CHILLING * (chiller?.nameplateWatts ?? Number.NaN);
}

/** By how much it pulls down the slope of the water, K/h, at the least, if all of the nominal water is there. */
export function expectedCoolingKPerH(chiller: Equipment | null, tank: Tank): number {
  return chillerEffectWatts(chiller) / tankHeatCapacityWhPerK(tank);
}

/** One proposal for each chiller of the tank, on its meter and the temperature of the water (role `water`). @param title after the chiller's name. */
export function chillerProposals(facts: TankFacts, title: string): readonly Proposal[] {
  const water = waterTemperaturePoint(facts);
  return facts.equipment.filter(({ kind }) => kind === 'chiller').map((chiller) => ({
    subject: chiller.id,
    title: `${chiller.name} ${title}`,
    roles: { ...(water === null ? {} : { water: water.id }), ...drawRoles(facts, chiller) },
    equipment: chiller,
    missing: water === null
      ? 'no temperature point in the display or the sump'
      : chiller.nameplateWatts === null ? `no nameplate power is entered for ${chiller.name}` : missingDraw(facts, chiller),
    defaults: {},
  }));
}
