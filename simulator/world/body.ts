/** A well-mixed body of water: what is conserved, and what follows from it. */
import { densityKgPerLitre } from './water.ts';

export class Body {
  waterKg: number;
  saltKg: number;
  /** Heat content against 0 °C. */
  heatJ: number;
  /** J/(kg K); one value for the life of a tank. */
  readonly #specificHeat: number;

  constructor(litres: number, salinity: number, waterC: number, specificHeat: number) {
    const kg = litres * densityKgPerLitre(salinity, waterC);
    this.waterKg = kg * (1 - salinity / 1000);
    this.saltKg = (kg * salinity) / 1000;
    this.#specificHeat = specificHeat;
    this.heatJ = kg * specificHeat * waterC;
  }

  get kg(): number {
    return this.waterKg + this.saltKg;
  }

  get waterC(): number {
    const kg = this.waterKg + this.saltKg;
    return kg > 0 ? this.heatJ / (kg * this.#specificHeat) : 0;
  }

  get salinity(): number {
    const kg = this.waterKg + this.saltKg;
    return kg > 0 ? (1000 * this.saltKg) / kg : 0;
  }

  get litres(): number {
    return this.kg / densityKgPerLitre(this.salinity, this.waterC);
  }

  /** An empty one of the same water, to catch what is lost. */
  get catcher(): Body {
    return new Body(0, 0, 0, this.#specificHeat);
  }

  clear(): void {
    this.waterKg = 0;
    this.saltKg = 0;
    this.heatJ = 0;
  }

  addHeat(joules: number): void {
    this.heatJ += joules;
  }

  /** Adds fresh water. */
  addWater(kg: number, waterC: number): void {
    this.waterKg += kg;
    this.heatJ += kg * this.#specificHeat * waterC;
  }

  /** Adds solution that was mixed elsewhere. */
  addSolution(kg: number, salinity: number, waterC: number): void {
    this.waterKg += kg * (1 - salinity / 1000);
    this.saltKg += (kg * salinity) / 1000;
    this.heatJ += kg * this.#specificHeat * waterC;
  }

  /** Takes pure water off the surface; the salt stays. */
  evaporate(kg: number, latentJPerKg: number): void {
    this.heatJ -= kg * (latentJPerKg + this.#specificHeat * this.waterC);
    this.waterKg -= kg;
  }

  /** Moves solution, with its salt and heat, into `other`. */
  pour(other: Body, kg: number): void {
    const here = this.kg;
    if (kg <= 0 || here <= 0) return;
    const share = Math.min(1, kg / here);
    const waterKg = this.waterKg * share;
    const saltKg = this.saltKg * share;
    const heatJ = this.heatJ * share;
    this.waterKg -= waterKg;
    this.saltKg -= saltKg;
    this.heatJ -= heatJ;
    other.waterKg += waterKg;
    other.saltKg += saltKg;
    other.heatJ += heatJ;
  }
}
