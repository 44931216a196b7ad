/** Anything on a plug: what it draws, what it has drawn, and how much of it ends as heat in the water. */
import type { EquipmentKind } from '../../src/domain/fleet.ts';

export abstract class Appliance {
  readonly id: string;
  readonly kind: EquipmentKind;
  readonly nameplateWatts: number;
  /** Of the draw: real power ÷ apparent power. */
  readonly powerFactor: number;
  drawWatts = 0;
  energyKWh = 0;
  /** The strip, outlet or breaker it hangs on, as the fleet file names it. */
  circuit: string | null = null;
  /** Somebody has switched it off or pulled its plug. */
  unplugged = false;

  constructor(id: string, kind: EquipmentKind, nameplateWatts: number, powerFactor: number) {
    this.id = id;
    this.kind = kind;
    this.nameplateWatts = nameplateWatts;
    this.powerFactor = powerFactor;
  }

  get running(): boolean {
    return this.drawWatts > 0;
  }

  protected record(drawWatts: number, dtS: number): void {
    this.drawWatts = drawWatts;
    this.energyKWh += (drawWatts * dtS) / 3.6e6;
  }
}

/** What an appliance meets in one step. `supply` is the voltage at its plug as a fraction of nominal; 0 without mains. */
export interface Surroundings {
  readonly waterC: number;
  readonly roomC: number;
  supply: number;
  /** Local time of day, h. */
  readonly hour: number;
}
