/**
 * How much water a tank loses to the air. Every formula here is for pools, and none is better than ± 50 %: `estimate` gives the band, and that is
 * what may be shown or judged by. What a tank really uses is learnt from its reservoir (`top-off/`).
 */
import { dryAirKgPerM3, humidityRatio, latentHeatJPerKg, saturationPressurePa } from './air.ts';
import { type Known, known, notKnown } from './known.ts';

export interface EvaporationInput {
  /** Open water, display and sump; what lies under a lid does not count. */
  readonly areaM2: number;
  readonly waterC: number;
  readonly airC: number;
  readonly relativePercent: number;
  /** Practical; seawater has about 2 % less vapour pressure. */
  readonly salinity: number;
}

/** Low and high bound what is honest to say, likely lies between. */
export interface Band {
  readonly low: number;
  readonly likely: number;
  readonly high: number;
}

export interface Evaporation {
  /** kg (near enough litres) per day. */
  readonly kgPerDay: Band;
  /** What the water loses with it, W. */
  readonly latentWatts: Band;
}

const SECONDS_PER_DAY = 86_400;
/** Activity factor of a tank: between an unoccupied pool (0.5) and a public one (1.0); from memory. */
const TANK_ACTIVITY = 0.75;
/** "± 50 % for any evaporation model". */
const UNCERTAINTY = 0.5;

/** ASHRAE short form at the activity of a tank, ± 50 %. Where the air is so moist that water would condense, it is 0. */
export function estimate(input: EvaporationInput): Known<Evaporation> {
  if (!(input.areaM2 > 0)) return notKnown('no open surface of the water is entered');
  const vapour = vapourPressuresPa(input);
  if (!vapour.known) return vapour;
  const latent = latentHeatJPerKg(input.waterC);
  if (!latent.known) return latent;
  const kgPerS = Math.max(0, ashraeKgPerS(input.areaM2, vapour.value.waterPa, vapour.value.airPa, TANK_ACTIVITY));
  return known({ kgPerDay: band(kgPerS * SECONDS_PER_DAY), latentWatts: band(kgPerS * latent.value) });
}

/** Pressure at the surface, lowered by the salt (Raoult; 2 % at 35), and in the room. */
function vapourPressuresPa({ waterC, airC, relativePercent, salinity }: EvaporationInput): Known<{ readonly waterPa: number; readonly airPa: number }> {
  const surface = saturationPressurePa(waterC);
  if (!surface.known) return surface;
  const room = saturationPressurePa(airC);
  if (!room.known) return room;
  if (!(relativePercent >= 0 && relativePercent <= 100)) return notKnown(`a relative humidity of ${relativePercent} % cannot be`);
  return known({ waterPa: surface.value * (1 - 0.000537 * salinity), airPa: (room.value * relativePercent) / 100 });
}

/** ASHRAE short form for air moving at 0.05–0.15 m/s (from memory): w = 4e-5 · A · Δp[kPa] · Fa. @returns kg/s. */
export function ashraeKgPerS(areaM2: number, waterPa: number, airPa: number, activity: number): number {
  return (4e-5 * areaM2 * (waterPa - airPa) * activity) / 1000;
}

/** Carrier, as in ASHRAE (second-hand): w = A Δp (0.089 + 0.0782 V)/Y, Δp in kPa, V in m/s, Y latent heat in kJ/kg. @returns kg/s. */
export function carrierKgPerS(areaM2: number, waterPa: number, airPa: number, airMPerS: number, latentJPerKg: number): number {
  return (areaM2 * ((waterPa - airPa) / 1000) * (0.089 + 0.0782 * airMPerS)) / (latentJPerKg / 1000);
}

/** From humidity ratios (textbook form, second-hand): g = (25 + 19 v) A (xs − x). @returns kg/h. */
export function humidityRatioKgPerH(areaM2: number, surfaceRatio: number, airRatio: number, airMPerS: number): number {
  return (25 + 19 * airMPerS) * areaM2 * (surfaceRatio - airRatio);
}

/**
 * Shah (ASHRAE Trans. 118 (2012), 120 (2014); formula from memory): still air over an undisturbed pool, driven by the buoyancy of moist air.
 * @returns kg/(m² h).
 */
export function shahKgPerM2H(waterC: number, airC: number, relativePercent: number): Known<number> {
  const surface = dryAirKgPerM3(waterC, 100);
  const room = dryAirKgPerM3(airC, relativePercent);
  const atSurface = humidityRatio(waterC, 100);
  const inRoom = humidityRatio(airC, relativePercent);
  if (!surface.known) return surface;
  if (!room.known) return room;
  if (!atSurface.known) return atSurface;
  if (!inRoom.known) return inRoom;
  if (room.value <= surface.value) return notKnown('the air of the room is lighter than that over the water, and the formula holds only the other way round');
  return known(35 * surface.value * Math.cbrt(room.value - surface.value) * (atSurface.value - inRoom.value));
}

const band = (likely: number): Band => ({ low: likely * (1 - UNCERTAINTY), likely, high: likely * (1 + UNCERTAINTY) });
