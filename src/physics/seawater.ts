/**
 * Density, specific heat and freezing point of fresh water and seawater at atmospheric pressure.
 * No range is checked here: `specific-gravity.ts` and whoever shows a figure does.
 *
 * Source: Fofonoff & Millard 1983, UNESCO Technical Papers in Marine Science 44 ("TP44"): EOS-80 density pp. 17–19 (valid for salinity
 * 0–42, −2–40 °C), specific heat after Millero et al. pp. 32–37 (valid for salinity 0–40, 0–35 °C, standard deviation 0.5 J/(kg K)).
 * TP44 takes temperatures on the IPTS-68 scale; thermometers show ITS-90: t68 = 1.00024 · t90.
 */
import { polynomial } from './polynomial.ts';
import { ipts68 } from './temperature-scale.ts';

/** @returns kg/m³. @param salinity practical salinity, 0 for fresh water. @param celsius ITS-90. */
export function densityKgPerM3(salinity: number, celsius: number): number {
  const t = ipts68(celsius);
  const s = salinity;
  const pure = polynomial(t, [999.842594, 6.793952e-2, -9.09529e-3, 1.001685e-4, -1.120083e-6, 6.536332e-9]);
  const b = polynomial(t, [8.24493e-1, -4.0899e-3, 7.6438e-5, -8.2467e-7, 5.3875e-9]);
  const c = polynomial(t, [-5.72466e-3, 1.0227e-4, -1.6546e-6]);
  return pure + b * s + c * s ** 1.5 + 4.8314e-4 * s * s;
}

/** @returns J/(kg K). @param salinity practical salinity, 0 for fresh water. @param celsius ITS-90. */
export function specificHeatJPerKgK(salinity: number, celsius: number): number {
  const t = ipts68(celsius);
  const s = salinity;
  const pure = polynomial(t, [4217.4, -3.720283, 0.1412855, -2.654387e-3, 2.093236e-5]);
  const a = polynomial(t, [-7.643575, 0.1072763, -1.38385e-3]);
  const b = polynomial(t, [0.1770383, -4.07718e-3, 5.148e-5]);
  return pure + a * s + b * s ** 1.5;
}

/**
 * @returns °C at which water of this salinity begins to freeze. @param salinity practical; source TP44 p. 29 (valid for salinity 4–40).
 * @param pressureDbar above the atmosphere.
 */
export function freezingPointC(salinity: number, pressureDbar = 0): number {
  return -0.0575 * salinity + 1.710523e-3 * salinity ** 1.5 - 2.154996e-4 * salinity * salinity - 7.53e-4 * pressureDbar;
}
