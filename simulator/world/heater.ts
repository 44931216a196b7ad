/** A resistive heater with its thermostat. Power follows the square of the voltage; all of it goes into the water. */
import { Appliance, type Surroundings } from './appliance.ts';
import type { Thermostat } from './thermostat.ts';

export class Heater extends Appliance {
  readonly thermostat: Thermostat;
  /** `stuck-on`: the contacts have welded. `failed`: the element is broken, nothing flows. */
  condition: 'healthy' | 'stuck-on' | 'failed' = 'healthy';
  /** Set by a fault: share of the element that still conducts; half of it when one of two elements has broken. */
  elementShare = 1;
  /** Element against nameplate: makers are allowed a few percent either way. */
  readonly #tolerance: number;

  constructor(id: string, nameplateWatts: number, tolerance: number, thermostat: Thermostat) {
    super(id, 'heater', nameplateWatts, 1);
    this.#tolerance = tolerance;
    this.thermostat = thermostat;
  }

  /** @returns heat into the water, W. */
  step({ waterC, supply }: Surroundings, dtS: number): number {
    this.thermostat.step(waterC, dtS);
    const closed = this.condition === 'stuck-on' || (this.condition === 'healthy' && this.thermostat.calling);
    this.record(closed ? this.nameplateWatts * this.#tolerance * this.elementShare * supply * supply : 0, dtS);
    return this.drawWatts;
  }
}
