/**
 * Specific gravity as an instrument shows it, and back to salinity.
 *
 * "a/b" is the density of the sample at a over that of pure water at b; which pair an instrument means is printed on it (common practice). The pairs
 * differ by as much as 4 in salinity: a salinity of 35 is 1.0264 at 25/25 and 1.0244 at 77 °F/60 °F.
 *
 * Source: EOS-80 density at one atmosphere, UNESCO TP44 pp. 17–19 (valid for salinity 0–42, −2–40 °C).
 */
import { type Known, known, notKnown, outside } from './known.ts';
import { densityKgPerM3 } from './seawater.ts';

export interface ReferencePair {
  /** Temperature of the sample, °C. */
  readonly sampleC: number;
  /** Temperature of the pure water it is compared with, °C. */
  readonly waterC: number;
}

const sixtyF = (60 - 32) / 1.8;

/** As printed on instruments. */
export const referencePairs = {
  '60/60 °F': { sampleC: sixtyF, waterC: sixtyF },
  '77/60 °F': { sampleC: 25, waterC: sixtyF },
  '20/20 °C': { sampleC: 20, waterC: 20 },
  '20/4 °C': { sampleC: 20, waterC: 4 },
  '25/25 °C': { sampleC: 25, waterC: 25 },
  '25/4 °C': { sampleC: 25, waterC: 4 },
} as const satisfies Record<string, ReferencePair>;

/** Density that says so when it is asked beyond its range, kg/m³. @param salinity practical. @param celsius ITS-90. */
export function checkedDensityKgPerM3(salinity: number, celsius: number): Known<number> {
  const why = outside('the salinity', salinity, 0, 42, '') ?? outside('the water', celsius, -2, 40, '°C');
  return why === null ? known(densityKgPerM3(salinity, celsius)) : notKnown(why);
}

/** @param salinity practical. @returns dimensionless, e.g. 1.0264. */
export function specificGravity(salinity: number, { sampleC, waterC }: ReferencePair): Known<number> {
  const sample = checkedDensityKgPerM3(salinity, sampleC);
  const water = checkedDensityKgPerM3(0, waterC);
  if (!sample.known) return sample;
  return water.known ? known(sample.value / water.value) : water;
}

/** Practical salinity of what an instrument with this pair shows. Where it shows less than pure water, or more than a salinity of 42, that is said. */
export function salinityOfGravity(gravity: number, pair: ReferencePair): Known<number> {
  const least = specificGravity(0, pair);
  const most = specificGravity(42, pair);
  if (!least.known) return least;
  if (!most.known) return most;
  const why = outside('the specific gravity', gravity, Number(least.value.toFixed(5)), Number(most.value.toFixed(5)), '');
  if (why !== null) return notKnown(why);
  const reference = densityKgPerM3(0, pair.waterC);
  let low = 0;
  let high = 42;
  // Density rises with salinity everywhere in the range: 50 halvings are exact to a double.
  for (let turn = 0; turn < 50; turn += 1) {
    const middle = (low + high) / 2;
    if (densityKgPerM3(middle, pair.sampleC) / reference < gravity) low = middle;
    else high = middle;
  }
  return known((low + high) / 2);
}
