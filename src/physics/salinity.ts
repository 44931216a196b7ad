/**
 * Salinity from what a conductivity probe shows, and back.
 *
 * Source: practical salinity scale PSS-78, UNESCO TP44 pp. 6–12, with the low-salinity extension of Hill, Dauphinee & Woods 1986 below 2, joined as in
 * the TEOS-10 GSW library (`pss78.ts`). Valid for −2 to 35 °C and a salinity of 0 to 42, at atmospheric pressure. The scale is for seawater: below 2
 * it describes diluted seawater, not tap water, whose salts are others (use the conductivity itself there).
 */
import { type Known, known, notKnown, outside } from './known.ts';
import { extendedSalinityOfRt, ratioOfRt, rtOfExtendedSalinity, rtOfRatio } from './pss78.ts';
import { ipts68 } from './temperature-scale.ts';

/**
 * C(35, 15 °C IPTS-68, 0), mS/cm: Culkin & Smith 1980 (IEEE J. Oceanic Eng. 5, 22–23), as quoted in GSW-C. Not a number of PSS-78 itself;
 * older tables differ in the fifth digit.
 */
export const REFERENCE_MS_PER_CM = 42.914;

export const SALINITY_RANGE = { low: 0, high: 42 } as const;
export const SALINITY_CELSIUS_RANGE = { low: -2, high: 35 } as const;

/** Below this ratio to the reference TP44 calls the water salt-free (FORTRAN, pp. 10–12). */
const NO_SALT_RATIO = 0.0005;

/**
 * What a probe does to the conductivity before it shows it. Most hobby and process probes show it as if the water were at 25 °C.
 *
 * - `none`: shows what it measures, at the temperature of the water.
 * - `linear`: divided by 1 + α (t − reference), α in %/K. Its manual names both; 2.0 %/K and 25 °C are usual (common practice). Off by up to 0.3 % in seawater.
 * - `seawater`: shows what seawater of this salinity would have at the reference temperature.
 */
export type Compensation =
  | { readonly kind: 'none' }
  | { readonly kind: 'linear'; readonly percentPerK: number; readonly referenceC: number }
  | { readonly kind: 'seawater'; readonly referenceC: number };

/** @param shownMsPerCm what the probe shows. @param celsius of the water at the probe, ITS-90. @returns practical salinity. */
export function practicalSalinity(shownMsPerCm: number, celsius: number, compensation: Compensation = { kind: 'none' }): Known<number> {
  const why = outside('the water', celsius, SALINITY_CELSIUS_RANGE.low, SALINITY_CELSIUS_RANGE.high, '°C');
  if (why !== null) return notKnown(why);
  if (compensation.kind === 'seawater') return practicalSalinity(shownMsPerCm, compensation.referenceC);
  const measured = uncompensated(shownMsPerCm, celsius, compensation);
  if (!measured.known) return measured;
  const ratio = measured.value / REFERENCE_MS_PER_CM;
  if (!(ratio >= 0)) return notKnown(`a conductivity of ${shownMsPerCm} mS/cm cannot be`);
  if (ratio <= NO_SALT_RATIO) return known(0);
  const t68 = ipts68(celsius);
  const salinity = extendedSalinityOfRt(rtOfRatio(ratio, t68), t68);
  const tooSalt = outside('the salinity', salinity, SALINITY_RANGE.low, SALINITY_RANGE.high, '');
  return tooSalt === null ? known(salinity) : notKnown(tooSalt);
}

/** @param salinity practical. @param celsius ITS-90. @returns conductivity at that temperature, mS/cm. */
export function conductivityMsPerCm(salinity: number, celsius: number): Known<number> {
  const why = outside('the water', celsius, SALINITY_CELSIUS_RANGE.low, SALINITY_CELSIUS_RANGE.high, '°C')
    ?? outside('the salinity', salinity, SALINITY_RANGE.low, SALINITY_RANGE.high, '');
  if (why !== null) return notKnown(why);
  const t68 = ipts68(celsius);
  return known(REFERENCE_MS_PER_CM * ratioOfRt(rtOfExtendedSalinity(salinity, t68), t68));
}

/** Undoes what the probe did: conductivity at the temperature of the water, mS/cm. @param celsius of the water, ITS-90. */
export function uncompensated(shownMsPerCm: number, celsius: number, compensation: Compensation): Known<number> {
  if (compensation.kind === 'none') return known(shownMsPerCm);
  if (compensation.kind === 'linear') {
    const factor = 1 + (compensation.percentPerK / 100) * (celsius - compensation.referenceC);
    return factor > 0 ? known(shownMsPerCm * factor) : notKnown(`a compensation of ${compensation.percentPerK} %/K cannot be undone at ${celsius} °C`);
  }
  const salinity = practicalSalinity(shownMsPerCm, compensation.referenceC);
  return salinity.known ? conductivityMsPerCm(salinity.value, celsius) : salinity;
}

/** What a probe that compensates would show of water of this conductivity: the inverse of `uncompensated`, mS/cm. */
export function compensated(measuredMsPerCm: number, celsius: number, compensation: Compensation): Known<number> {
  if (compensation.kind === 'none') return known(measuredMsPerCm);
  if (compensation.kind === 'linear') {
    const factor = 1 + (compensation.percentPerK / 100) * (celsius - compensation.referenceC);
    return factor > 0 ? known(measuredMsPerCm / factor) : notKnown(`a compensation of ${compensation.percentPerK} %/K has no meaning at ${celsius} °C`);
  }
  const salinity = practicalSalinity(measuredMsPerCm, celsius);
  return salinity.known ? conductivityMsPerCm(salinity.value, compensation.referenceC) : salinity;
}
