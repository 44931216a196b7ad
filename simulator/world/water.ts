/**
 * Properties of water, deliberately simple and deliberately not those the product uses (`src/physics/`): the simulated water must not be
 * able to agree with the product's own mistakes. Salinity is g of salt per kg of solution throughout.
 */

/** kg/L. Parabola about 4 °C, linear in salt; within 0.1 % of EOS-80 (UNESCO TP44) for 10–30 °C, 0–40 g/kg. */
export function densityKgPerLitre(salinity: number, waterC: number): number {
  return 0.99997 * (1 - 6.6e-6 * (waterC - 4) ** 2) + 0.000752 * salinity;
}

/** J/(kg K). Straight line through the fresh and sea water values at 25 °C of UNESCO TP44 p. 37; within 0.2 % for 10–30 °C. */
export function specificHeat(salinity: number): number {
  return 4180 - 5.2 * salinity;
}

/** J/kg. λ = 2.501 − 2.361·10⁻³ t MJ/kg, the linear form of FAO Irrigation and Drainage Paper 56 (from memory). */
export function latentHeat(waterC: number): number {
  return 2.501e6 - 2361 * waterC;
}

/** kPa over fresh water, Tetens' form (from memory); within 0.1 % of ASHRAE's table at 20–30 °C. */
export function saturationPressureKPa(airC: number): number {
  return 0.61078 * Math.exp((17.27 * airC) / (airC + 237.3));
}

/** kPa over salt water: lowered by about 2 % at 35 g/kg (Raoult). */
export function surfacePressureKPa(salinity: number, waterC: number): number {
  return saturationPressureKPa(waterC) * (1 - 0.00054 * salinity);
}

/**
 * mS/cm at the water's own temperature, by P. K. Weyl's formula of 1964 (Limnol. Oceanogr. 9, 75–78; from memory), which is older than and
 * independent of the practical salinity scale. Within 0.5 % of it for 20–40 g/kg at 15–30 °C; a fair stand-in below.
 */
export function conductivity(salinity: number, waterC: number): number {
  if (salinity <= 0) return 0;
  const chlorinity = salinity / 1.80655;
  const below25 = 25 - waterC;
  const temperatureTerm = 88.3 + below25 * (0.55 + 0.0107 * below25) - chlorinity * (0.145 + below25 * (-0.002 + 0.0002 * below25));
  return 10 ** (0.57627 + 0.892 * Math.log10(chlorinity) - 1e-4 * below25 * temperatureTerm);
}
