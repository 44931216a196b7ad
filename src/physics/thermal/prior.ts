/**
 * What is known of a tank's heat before a single reading: its volumes, and habits of the trade. All figures here are common practice, no source.
 * They are held as a normal prior, wide where little is known, so that what the readings do not settle stays uncertain instead of wild.
 */
import { heatCapacityWhPerK } from '../heat.ts';
import { addOuter, inverseOf, times } from '../statistics/linear-system.ts';
import type { Prior } from '../statistics/huber.ts';
import { SLOTS } from './block.ts';

export interface ThermalFacts {
  /** Of the water that is likely there, see `likelyCapacityWhPerK`. */
  readonly capacityWhPerK: number;
  /** Electrical power of the pumps that run all day and end as heat in the water; `null`: not known. */
  readonly pumpWatts: number | null;
  /** Built not to sweat, as cold-water tanks are: thick acrylic or double glass. */
  readonly insulated: boolean;
  /** What the tank evaporates, as its top-off shows; `null`: not known. */
  readonly evaporationLitresPerDay: number | null;
  /** Is the room's temperature measured? Otherwise it is taken as `ASSUMED_ROOM_C`, and what it differs by is learnt as a part of the constant heat. */
  readonly roomMeasured: boolean;
}

/** Rooms with people in them. */
export const ASSUMED_ROOM_C = 21.5;
export const ASSUMED_HUMIDITY_PERCENT = 45;

/** Heat that a chiller takes out for each electrical watt. */
export const USUAL_CHILLING = 2.5;

/** Unknowns of the balance, by their place in vectors. */
export const CAPACITY = 0;
export const LOSS = 1;
export const VAPOUR = 2;
export const CHILLING = 3;
export const LIGHT = 4;
export const FIRST_SLOT = 5;
export const UNKNOWNS = FIRST_SLOT + SLOTS;

/** Rock and a dry rim take some of the nominal display; a sump runs about two thirds full, so that it can take what drains down. */
export function likelyCapacityWhPerK(displayLitres: number, sumpLitres: number, salinity: number, celsius: number): number {
  return heatCapacityWhPerK(0.93 * displayLitres + 0.66 * sumpLitres, salinity, celsius);
}

export interface PumpHeat {
  readonly watts: number;
  readonly sdWatts: number;
}

/** Heat of the pumps in the water. Unknown: as much as warms the water by 0.05 K/h, give or take all of it. */
export function pumpHeat({ pumpWatts, capacityWhPerK }: ThermalFacts): PumpHeat {
  if (pumpWatts !== null) return { watts: 0.85 * pumpWatts, sdWatts: 0.15 * pumpWatts };
  return { watts: 0.05 * capacityWhPerK, sdWatts: 0.05 * capacityWhPerK };
}

export function priorOf(facts: ThermalFacts): Prior {
  const { capacityWhPerK: capacity, roomMeasured } = facts;
  const pump = pumpHeat(facts);
  // A tank that is left alone comes to rest within 17 h or so, e-fold; lids, hoods and size make that anything from half to twice. Somewhat more
  // than half of it goes through walls and by bare contact. An insulated tank takes 28 h.
  const loss = capacity / (facts.insulated ? 28 : 17);
  const walls = 0.6 * loss;
  // Beside the pumps: probes disagree by up to a kelvin, evaporation goes on at the room's own temperature, an assumed room is off by two.
  const offsetK = Math.hypot(1.5, roomMeasured ? 0 : 2);
  const commonVariance = pump.sdWatts ** 2 + (offsetK * loss) ** 2;
  // Lights that nobody measures, by the time of day.
  const slotSd = 0.05 * capacity;

  const vapour = vapourWattsPerPa(facts);
  const mean = [capacity, walls, vapour.mean, USUAL_CHILLING, 0.3, ...slots(() => pump.watts)];
  const sd = [0.09 * capacity, 0.5 * walls, vapour.sd, 0.8, 0.25];
  let covariance: number[][] = mean.map((_, i) => mean.map((_none, j) => (i !== j ? 0 : i < FIRST_SLOT ? (sd[i] ?? Number.NaN) ** 2 : slotSd ** 2)));
  covariance = addOuter(covariance, mean.map((_, i) => (i < FIRST_SLOT ? 0 : 1)), commonVariance);
  const precision = inverseOf(covariance);
  if (precision === null) throw new Error('a prior needs a heat capacity above zero');
  return { precision, weighted: times(precision, mean) };
}

/** Heat that evaporation takes for each Pa by which the vapour at the surface exceeds that in the room. */
function vapourWattsPerPa({ capacityWhPerK, evaporationLitresPerDay }: ThermalFacts): { readonly mean: number; readonly sd: number } {
  // Water of 26 °C in a room of 22 °C at 45 %: 3364 − 0.45 · 2645 Pa. 28.2 W for each kilogram a day (check: IAPWS-95, 2439 kJ/kg).
  const perLitre = 28.2 / 2170;
  if (evaporationLitresPerDay !== null) return { mean: perLitre * evaporationLitresPerDay, sd: 0.15 * perLitre * evaporationLitresPerDay };
  // 0.5–1.5 % of the volume a day; a litre holds 1.14 Wh/K.
  const litres = capacityWhPerK / 1.14;
  return { mean: perLitre * 0.01 * litres, sd: perLitre * 0.005 * litres };
}

export function slots<T>(make: (slot: number) => T): T[] {
  return Array.from({ length: SLOTS }, (_, slot) => make(slot));
}
