/** How much heat a body of water holds, and how fast a heater can warm it at the very most. */
import { densityKgPerM3, specificHeatJPerKgK } from './seawater.ts';

const JOULES_PER_WH = 3600;

/** @returns Wh per kelvin. @param litres volume of water. @param salinity practical salinity, 0 for fresh water. */
export function heatCapacityWhPerK(litres: number, salinity: number, celsius: number): number {
  const massKg = (litres / 1000) * densityKgPerM3(salinity, celsius);
  return (massKg * specificHeatJPerKgK(salinity, celsius)) / JOULES_PER_WH;
}

/** Hours to warm by `kelvin` if nothing is lost: in truth it always takes longer. `Infinity` without power. */
export function lossFreeHours(kelvin: number, watts: number, capacityWhPerK: number): number {
  return watts > 0 ? (kelvin * capacityWhPerK) / watts : Number.POSITIVE_INFINITY;
}
