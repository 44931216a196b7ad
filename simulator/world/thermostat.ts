/** A switch that follows a temperature with a lag and a dead zone: what heaters and chillers are controlled by. */
export class Thermostat {
  setpointC: number;
  /** Half-width of the dead zone, K. */
  bandK: number;
  /** Calls for heating or cooling. */
  calling = false;
  /** What its own sensor feels. */
  feltC: number;
  readonly #calls: 'below' | 'above';
  readonly #lagS: number;
  readonly #errorK: number;

  /** @param errorK how much too warm the sensor reads. */
  constructor(options: { calls: 'below' | 'above'; setpointC: number; bandK: number; lagS: number; errorK: number; waterC: number }) {
    this.#calls = options.calls;
    this.setpointC = options.setpointC;
    this.bandK = options.bandK;
    this.#lagS = options.lagS;
    this.#errorK = options.errorK;
    this.feltC = options.waterC;
  }

  step(waterC: number, dtS: number): void {
    this.feltC += (waterC + this.#errorK - this.feltC) * (1 - Math.exp(-dtS / this.#lagS));
    const away = this.#calls === 'below' ? this.setpointC - this.feltC : this.feltC - this.setpointC;
    if (away > this.bandK) this.calling = true;
    else if (away < -this.bandK) this.calling = false;
  }
}
