/**
 * Water lost from an open surface. C. Rohwer, "Evaporation from free water surfaces", USDA Technical Bulletin 271 (1931), from memory:
 * E = 0.771 (1.465 − 0.0186 B)(0.44 + 0.118 W)(es − ed), in inches of water per day, barometer B and pressures e in inches of mercury,
 * wind W in miles per hour. Any such formula is good to about ±50 %.
 */

const MILES_PER_HOUR = 2.236936; // per m/s
const INCHES_OF_MERCURY = 0.2952998; // per kPa
const SEA_LEVEL_BAROMETER = 29.92;
const KG_PER_M2_PER_INCH = 25.4;
const SECONDS_PER_DAY = 86_400;

/** kg/(m² s); 0 where the air is moister than the surface (the little that would condense is left out). */
export function evaporationRate(surfaceKPa: number, airKPa: number, draughtMetresPerSecond: number): number {
  const differenceInHg = (surfaceKPa - airKPa) * INCHES_OF_MERCURY;
  if (differenceInHg <= 0) return 0;
  const inchesPerDay =
    0.771 * (1.465 - 0.0186 * SEA_LEVEL_BAROMETER) * (0.44 + 0.118 * draughtMetresPerSecond * MILES_PER_HOUR) * differenceInHg;
  return (inchesPerDay * KG_PER_M2_PER_INCH) / SECONDS_PER_DAY;
}
