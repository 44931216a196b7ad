/** From which draw on a piece of equipment counts as running. */
import type { Equipment } from '../domain/fleet.ts';
import { type Draw, isDrawing } from './draw.ts';

/** A heater on its controller idles at a few watts: drawing begins at a fifth of the nameplate, at least at 10 W. */
export function heaterOnWatts(heater: Equipment | null): number {
  return Math.max(10, 0.2 * (heater?.nameplateWatts ?? 0));
}

/** A chiller's controller and fan idle: the compressor runs from 10 % of the nameplate, at least 15 W. */
export function chillerOnWatts(chiller: Equipment | null): number {
  return Math.max(15, 0.1 * (chiller?.nameplateWatts ?? 0));
}

/** With hysteresis: on from `onWatts`, off below half of it. `null` between the two, and where the reading does not tell. */
export function isRunning(draw: Draw, onWatts: number): boolean | null {
  if (isDrawing(draw, onWatts) === true) return true;
  return isDrawing(draw, onWatts / 2) === false ? false : null;
}
