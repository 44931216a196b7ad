/**
 * Oxygen that water holds when it is in balance with air: by temperature, salinity and altitude.
 *
 * Benson & Krause 1984 (Limnol. Oceanogr. 29:620–632, eq. 32; the same as Standard Methods 4500-O): mg/L, valid for 0–40 °C and salinity 0–40, with
 * pressure. It is what the product shows. Garcia & Gordon 1992 (Limnol. Oceanogr. 37:1307–1312, Benson–Krause column) is the second opinion; the two
 * agree within 0.002 mg/L. Coefficients of both second-hand, as quoted in public implementations.
 */
import { pressureAtAltitudePa, STANDARD_PRESSURE_PA } from './air.ts';
import { type Known, known, notKnown, outside } from './known.ts';
import { polynomial } from './polynomial.ts';

/** mg/L of oxygen in balance with moist air. @param celsius ITS-90. @param salinity practical. @param pressurePa of the air, moist. */
export function oxygenSaturationMgPerL(celsius: number, salinity: number, pressurePa: number = STANDARD_PRESSURE_PA): Known<number> {
  const why = rangeOf(celsius, salinity) ?? outside('the air pressure', pressurePa, 50_000, 110_000, 'Pa');
  if (why !== null) return notKnown(why);
  const T = celsius + 273.15;
  const fresh = -139.34411 + 1.575701e5 / T - 6.642308e7 / T ** 2 + 1.2438e10 / T ** 3 - 8.621949e11 / T ** 4;
  const salt = salinity * (0.017674 - 10.754 / T + 2140.7 / T ** 2);
  return known(Math.exp(fresh - salt) * pressureFactor(T, celsius, pressurePa / STANDARD_PRESSURE_PA));
}

/** The same by the altitude of the site, at its mean pressure. @param altitudeM −500 to 5000. */
export function oxygenSaturationAtAltitudeMgPerL(celsius: number, salinity: number, altitudeM: number): Known<number> {
  const pressure = pressureAtAltitudePa(altitudeM);
  return pressure.known ? oxygenSaturationMgPerL(celsius, salinity, pressure.value) : pressure;
}

/** How much of what it can hold, %. */
export function oxygenPercent(mgPerL: number, celsius: number, salinity: number, pressurePa: number = STANDARD_PRESSURE_PA): Known<number> {
  const full = oxygenSaturationMgPerL(celsius, salinity, pressurePa);
  return full.known ? known((100 * mgPerL) / full.value) : full;
}

/** Garcia & Gordon 1992, at one atmosphere. The scale of temperature is the paper's; at 10 °C the other one makes 0.005 % of difference. */
export function garciaGordon(celsius: number, salinity: number, unit: 'µmol/kg' | 'mL/L' | 'mg/L'): Known<number> {
  const why = rangeOf(celsius, salinity);
  if (why !== null) return notKnown(why);
  const ts = Math.log((298.15 - celsius) / (273.15 + celsius));
  const { A, B, C0 } = unit === 'µmol/kg' ? perKg : perLitre;
  const content = Math.exp(polynomial(ts, A) + salinity * polynomial(ts, B) + C0 * salinity * salinity);
  return known(unit === 'mg/L' ? content * MG_PER_ML : content);
}

/** 1 mL of oxygen at 0 °C and 1 atm: USGS Office of Water Quality memorandum 2011.03 (second-hand). */
const MG_PER_ML = 1.42905;

const perKg = {
  A: [5.80871, 3.20291, 4.17887, 5.10006, -9.86643e-2, 3.80369],
  B: [-7.01577e-3, -7.70028e-3, -1.13864e-2, -9.51519e-3],
  C0: -2.75915e-7,
};
const perLitre = {
  A: [2.00907, 3.22014, 4.0501, 4.94457, -2.56847e-1, 3.88767],
  B: [-6.24523e-3, -7.37614e-3, -1.0341e-2, -8.17083e-3],
  C0: -4.88682e-7,
};

function pressureFactor(T: number, celsius: number, atmospheres: number): number {
  const theta = 0.000975 - 1.426e-5 * celsius + 6.436e-8 * celsius * celsius;
  const vapour = Math.exp(11.8571 - 3840.7 / T - 216_961 / (T * T));
  return ((atmospheres - vapour) * (1 - theta * atmospheres)) / ((1 - vapour) * (1 - theta));
}

function rangeOf(celsius: number, salinity: number): string | null {
  return outside('the water', celsius, 0, 40, '°C') ?? outside('the salinity', salinity, 0, 40, '');
}
