/** Pumps, skimmers, fans, UV and other loads that simply run. */
import type { EquipmentKind } from '../../src/domain/fleet.ts';
import { Appliance, type Surroundings } from './appliance.ts';
import type { Thermostat } from './thermostat.ts';

/** Share of the draw that ends as heat in the water; common practice, no source. */
const heatShares: Partial<Record<EquipmentKind, number>> = {
  'return-pump': 0.75, 'circulation-pump': 0.9, skimmer: 0.5, uv: 0.6, 'top-off-pump': 0, fan: 0, other: 0,
};

export class Motor extends Appliance {
  /** Set by a fault: it stands still and draws nothing. */
  stopped = false;
  /** Share of full load: below 1 when a pump draws air or works against a blockage. */
  load = 1;
  /** Set by a fault: share of the flow that a blocked intake or rotor takes away. */
  clog = 0;
  /** Set by a fault: turns in air and moves nothing. */
  airlocked = false;
  /** Set by a fault: its relay has welded, it runs whatever its controller wants. */
  stuckOn = false;
  /** Whether its controller wants it to run; the top-off pump is switched by its float. */
  called = true;
  /** A fan's, if it has one. */
  readonly #thermostat: Thermostat | null;
  readonly #heatShare: number;

  constructor(id: string, kind: EquipmentKind, nameplateWatts: number, thermostat: Thermostat | null = null) {
    super(id, kind, nameplateWatts, 0.65);
    this.#thermostat = thermostat;
    this.#heatShare = heatShares[kind] ?? 0;
  }

  /** @returns heat into the water, W. */
  step({ waterC, supply }: Surroundings, dtS: number): number {
    if (this.#thermostat !== null) {
      this.#thermostat.step(waterC, dtS);
      this.called = this.#thermostat.calling;
    }
    const turning = (this.called || this.stuckOn) && !this.stopped && supply > 0.6;
    // An induction motor's draw follows the voltage roughly one to one near nominal.
    this.record(turning ? this.nameplateWatts * 0.92 * supply * (0.55 + 0.45 * this.load) : 0, dtS);
    return this.drawWatts * this.#heatShare;
  }
}
