/** Moist air and the water vapour over water: pressures, humidity ratio, latent heat. Pressures in Pa. */
import { type Known, known, notKnown, outside } from './known.ts';
import { polynomial } from './polynomial.ts';

export const STANDARD_PRESSURE_PA = 101_325;

/** Molar mass of water over that of dry air (ASHRAE Handbook – Fundamentals, ch. 1). */
const MASS_RATIO = 0.621945;

/**
 * Pressure of saturated vapour over pure water. Source: IAPWS-IF97, region 4 (checked against its Table 35); here for 0.01 to 100 °C.
 * @param celsius ITS-90.
 */
export function saturationPressurePa(celsius: number): Known<number> {
  const why = outside('the water', celsius, 0, 100, '°C');
  return why === null ? known(if97SaturationPa(celsius + 273.15)) : notKnown(why);
}

/** The bare formula of IAPWS-IF97, region 4; holds from 273.15 to 647.096 K. */
export function if97SaturationPa(kelvin: number): number {
  const theta = kelvin - 0.23855557567849 / (kelvin - 0.65017534844798e3);
  const A = theta * theta + 0.11670521452767e4 * theta - 0.72421316703206e6;
  const B = -0.17073846940092e2 * theta * theta + 0.1202082470247e5 * theta - 0.32325550322333e7;
  const C = 0.1491510861353e2 * theta * theta - 0.48232657361591e4 * theta + 0.40511340542057e6;
  return 1e6 * ((2 * C) / (-B + Math.sqrt(B * B - 4 * A * C))) ** 4;
}

/**
 * kg of water vapour per kg of dry air. Source: ASHRAE Handbook – Fundamentals, ch. 1: W = 0.621945 pv/(p − pv), both gases ideal (real ones hold
 * 0.4–0.5 % more). @param relative humidity in %, 0–100.
 */
export function humidityRatio(celsius: number, relativePercent: number, pressurePa: number = STANDARD_PRESSURE_PA): Known<number> {
  const why = outside('the relative humidity', relativePercent, 0, 100, '%');
  if (why !== null) return notKnown(why);
  const saturation = saturationPressurePa(celsius);
  if (!saturation.known) return saturation;
  const vapour = (saturation.value * relativePercent) / 100;
  return vapour < pressurePa ? known((MASS_RATIO * vapour) / (pressurePa - vapour)) : notKnown('at this pressure the water boils');
}

/**
 * Heat that evaporating a kilogram of water takes. Source: Sharqawy et al. 2010 (from memory; agrees with IAPWS-95 within 0.15 kJ/kg), valid
 * for 0–100 °C; salt is left out, which at salinity 35 is a change below 0.1 %.
 */
export function latentHeatJPerKg(celsius: number): Known<number> {
  const why = outside('the water', celsius, 0, 100, '°C');
  return why === null ? known(polynomial(celsius, [2.501e6, -2.369e3, 2.678e-1, -8.103e-3, -2.079e-5])) : notKnown(why);
}

/** Mean pressure at an altitude. Source: ICAO standard atmosphere (from memory), here for −500 to 5000 m; the weather moves it by ± 3 %. */
export function pressureAtAltitudePa(altitudeM: number): Known<number> {
  const why = outside('the altitude', altitudeM, -500, 5000, 'm');
  return why === null ? known(STANDARD_PRESSURE_PA * (1 - 2.25577e-5 * altitudeM) ** 5.25588) : notKnown(why);
}

/** kg of dry air in a cubic metre of moist air; ideal gas, R = 287.042 J/(kg K). */
export function dryAirKgPerM3(celsius: number, relativePercent: number, pressurePa: number = STANDARD_PRESSURE_PA): Known<number> {
  const ratio = humidityRatio(celsius, relativePercent, pressurePa);
  if (!ratio.known) return ratio;
  const dryPa = (pressurePa * MASS_RATIO) / (MASS_RATIO + ratio.value);
  return known(dryPa / (287.042 * (celsius + 273.15)));
}
