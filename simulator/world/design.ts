/**
 * From the fleet file to a tank that could stand there. The file says what is installed; what it cannot say (how tall, how well insulated,
 * how open) is chosen from the tank's own stream of chance within what is usual: common practice, no source, except where noted.
 */
import type { Equipment, Tank, Water } from '../../src/domain/fleet.ts';
import { streamKey, uniformAt } from '../random.ts';
import type { TankDesign } from './tank.ts';

const salinities: Record<Water, number> = { reef: 35, marine: 33, fresh: 0.25, cold: 33 };
/** Where the water stands when no thermostat says so. */
export const usualC: Record<Water, number> = { reef: 25.5, marine: 25, fresh: 25, cold: 14 };

export function designTank(tank: Tank, equipment: readonly Equipment[], seed: number): TankDesign {
  const key = streamKey(seed, `tank nature ${tank.id}`);
  const vary = (number: number, low: number, high: number): number => low + (high - low) * uniformAt(key, number);
  const hasSump = tank.sumpLitres > 0;
  // Rock and a dry rim take a little of the nominal display; a sump runs two thirds full so that it can take what drains down.
  const displayLitres = tank.displayLitres * vary(1, 0.92, 0.97);
  const sumpLitres = tank.sumpLitres * vary(2, 0.6, 0.68);
  const heightM = 0.4 + 0.4 * Math.min(1, tank.displayLitres / 2500);
  const displaySurfaceM2 = tank.displayLitres / 1000 / heightM;
  const size = ((tank.displayLitres + tank.sumpLitres) / 757) ** (2 / 3);
  const insulation = tank.water === 'cold' ? 0.5 : 1;
  const heater = equipment.find((piece) => piece.kind === 'heater' && piece.setpointC !== null);
  const chiller = equipment.find((piece) => piece.kind === 'chiller' && piece.setpointC !== null);
  const drainBackKg = hasSump ? Math.min(displaySurfaceM2 * vary(6, 9, 14), 0.25 * tank.sumpLitres) : 0;
  return {
    id: tank.id,
    water: tank.water,
    displayLitres,
    sumpLitres,
    displaySurfaceM2,
    sumpSurfaceM2: hasSump ? tank.sumpLitres / 1000 / 0.4 : 0,
    openShare: vary(3, 0.6, 0.9),
    // 50 W/K for 757 L including evaporation is usual; somewhat more than half of it is walls and bare contact.
    displayLossWPerK: 24 * size * insulation * vary(4, 0.85, 1.15),
    sumpLossWPerK: hasSump ? 6 * size * insulation : 0,
    // About a tenth of the display's mass in rock of 0.85 kJ/(kg K).
    rockJPerK: tank.water === 'fresh' ? 40 * tank.displayLitres : 90 * tank.displayLitres,
    returnKgPerS: hasSump ? (tank.displayLitres * vary(5, 4, 6)) / 3600 : 0,
    drainBackKg,
    topOffKgPerS: Math.max(0.01, tank.displayLitres / 40_000),
    floatPlayKg: Math.max(0.3, (hasSump ? tank.sumpLitres : tank.displayLitres) * 0.006),
    // A sump takes what drains down when the pump stops, and little more. Without one, the rim of the display is the limit.
    sumpHoldsLitres: hasSump ? Math.max(0.97 * tank.sumpLitres, sumpLitres + drainBackKg * 1.1) : 0,
    displayHoldsLitres: hasSump ? displayLitres + 3 * drainBackKg : 1.03 * displayLitres,
    // A cupful to a bucket a week: 0.02 % of the volume a day.
    skimKgPerDay: 0.0002 * (displayLitres + sumpLitres),
    salinity: salinities[tank.water] * vary(7, 0.985, 1.015),
    startC: heater?.setpointC ?? chiller?.setpointC ?? usualC[tank.water],
  };
}
