/** A lamp on a timetable with soft edges; part of its draw warms the water. */
import { Appliance, type Surroundings } from './appliance.ts';

const RAMP_H = 0.75;
/** LED over open water: common practice, no source. */
const WATER_SHARE = 0.28;

export class Light extends Appliance {
  readonly #onHour: number;
  readonly #offHour: number;

  constructor(id: string, nameplateWatts: number, onHour: number, offHour: number) {
    super(id, 'light', nameplateWatts, 0.95);
    this.#onHour = onHour;
    this.#offHour = offHour;
  }

  /** 0 dark … 1 full. */
  brightness(hour: number): number {
    return Math.min(1, Math.max(0, Math.min((hour - this.#onHour) / RAMP_H, (this.#offHour - hour) / RAMP_H)));
  }

  /** @returns heat into the water, W. */
  step({ supply, hour }: Surroundings, dtS: number): number {
    // LED supplies hold their output against the voltage.
    this.record(supply > 0.6 ? this.nameplateWatts * this.brightness(hour) : 0, dtS);
    return this.drawWatts * WATER_SHARE;
  }
}
