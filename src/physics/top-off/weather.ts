/**
 * By how much the air of a room alone may change what a tank evaporates: what is still health.
 *
 * Evaporation goes with the difference of vapour pressures at the surface and in the room (Dalton). Rooms with people in them lie between 30 and 60 % of relative humidity (what heating and air
 * conditioning are laid out for; common practice), dry winter air goes down to 20 %. Water of 26 °C in a room of 22 °C feels little of that: 2.6 against 1.8 kPa. Water of 13 °C lies close to the dew point of the
 * same room: between 0.7 kPa and nothing, so that a tank that needed nothing for a week may need litres in the next, and the other way round.
 */
import { vapourDifferencePa } from '../thermal/fit.ts';

export interface WeatherBand {
  /** Down to so many times the usual; 0: down to nothing. */
  readonly least: number;
  /** Up to so many times the usual; `Infinity`: the usual may have been next to nothing. */
  readonly most: number;
  /** More than this a tank of its size does not evaporate in the driest room, lids on and no fan; L/day. */
  readonly mostLitresPerDay: number;
}

const DRY_PERCENT = 30;
const MOIST_PERCENT = 60;
const DRIEST_PERCENT = 20;
/** Of its volume a day in the usual room: 0.5–1.5 %, common practice. */
const MOST_SHARE = 0.015;
/** Water of 26 °C in a room of 22 °C at 45 %: where that is what is usual. */
const USUAL_PA = vapourDifferencePa(26, 22, 45);
/** Below this share of the difference in dry air, the difference in moist air is not known well enough to divide by. */
const LEAST_SHARE = 0.2;

export function weatherBand(systemLitres: number, waterC: number, roomC: number): WeatherBand {
  const dryPa = vapourDifferencePa(waterC, roomC, DRY_PERCENT);
  const moistPa = vapourDifferencePa(waterC, roomC, MOIST_PERCENT);
  const driestPa = vapourDifferencePa(waterC, roomC, DRIEST_PERCENT);
  const share = dryPa > 0 ? moistPa / dryPa : 0;
  const least = share < LEAST_SHARE ? 0 : share;
  return { least, most: 1 / least, mostLitresPerDay: (Math.max(0, driestPa) / USUAL_PA) * MOST_SHARE * systemLitres };
}
