/** A tank with a conductivity probe and a thermometer beside it, fed with a salinity. */
import { MINUTE } from '../../src/domain/duration.ts';
import { conductivityMsPerCm } from '../../src/physics/salinity.ts';
import { point } from './fleet.ts';
import { type Drive, T0 } from './drive.ts';

export const probe = point('conductivity', 'conductivity', { place: 'sump' });
export const beside = point('temperature', 'sump-temperature', { place: 'sump' });

export function conductivity(psu: number, celsius: number): number {
  const found = conductivityMsPerCm(psu, celsius);
  if (!found.known) throw new Error(found.why);
  return found.value;
}

export interface SaltyRun {
  readonly fromMin?: number;
  readonly toMin: number;
  readonly everyMin?: number;
  readonly psu: (minute: number) => number;
  readonly celsius?: (minute: number) => number;
  /** What the probe shows instead, mS/cm. */
  readonly shows?: (minute: number) => number | null;
}

/** Feeds both; the noise of 0.1 % is that of a common probe. @returns minutes in which it was breached. */
export function feed(drive: Drive, { fromMin = 0, toMin, everyMin = 5, psu, celsius = () => 25.5, shows = () => null }: SaltyRun): readonly number[] {
  const breached: number[] = [];
  for (let minute = fromMin; minute < toMin; minute += everyMin) {
    const atMs = T0 + minute * MINUTE;
    const warm = celsius(minute);
    drive.reading(beside.id, atMs, warm);
    const value = shows(minute) ?? conductivity(psu(minute), warm) * (1 + 0.001 * Math.sin(minute * 12.9898));
    if (drive.reading(probe.id, atMs + 1000, Math.round(value * 100) / 100).state === 'breached') breached.push(minute);
  }
  return breached;
}
