/** Fresh water kept beside the tank; the top-off pump draws from it, visits fill it. */
export class Reservoir {
  readonly id: string;
  readonly capacityKg: number;
  /** What a level sensor reads when it is full. */
  readonly fullMm: number;
  waterKg: number;
  /** Follows the room. */
  waterC = 22;
  /** Set by a fault: whoever visits forgets it. */
  forgotten = false;
  /** Everything ever put in, less everything taken out by hand, kg. */
  filledKg = 0;

  constructor(id: string, capacityKg: number, fullMm: number, shareFull: number) {
    this.id = id;
    this.capacityKg = capacityKg;
    this.fullMm = fullMm;
    this.waterKg = capacityKg * shareFull;
  }

  get shareFull(): number {
    return this.waterKg / this.capacityKg;
  }

  /** Sets the contents by hand: a refill, or a bucket taken away. */
  setTo(waterKg: number): void {
    this.filledKg += waterKg - this.waterKg;
    this.waterKg = waterKg;
  }

  /** @returns what was there to give, kg. */
  draw(wantedKg: number): number {
    const givenKg = Math.min(wantedKg, this.waterKg);
    this.waterKg -= givenKg;
    return givenKg;
  }
}
