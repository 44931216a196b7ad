/**
 * One tank: display above, sump below, everything on plugs around it. Integrated in small steps from what is conserved (water, salt and heat
 * of each body); temperatures, salinity and levels are read off those. Where water stands:
 *
 *   sump ── return pump ──▶ display ── over the weir ──▶ sump
 *
 * The weir keeps the display's level, so evaporation shows in the sump; when the return pump stops, what stood above the weir drains down.
 */
import type { Water } from '../../src/domain/fleet.ts';
import type { Appliance, Surroundings } from './appliance.ts';
import { Body } from './body.ts';
import { Chiller } from './chiller.ts';
import { evaporationRate } from './evaporation.ts';
import { Heater } from './heater.ts';
import { Light } from './light.ts';
import { Motor } from './motor.ts';
import type { Reservoir } from './reservoir.ts';
import type { SiteWorld } from './site.ts';
import { densityKgPerLitre, latentHeat, specificHeat, surfacePressureKPa } from './water.ts';

/** What the builder of the tank decided. */
export interface TankDesign {
  readonly id: string;
  readonly water: Water;
  /** Real water in the display at the edge of the weir, and in the sump while running. */
  readonly displayLitres: number;
  readonly sumpLitres: number;
  readonly displaySurfaceM2: number;
  readonly sumpSurfaceM2: number;
  /** Share of the surface that breathes: less under lids. */
  readonly openShare: number;
  /** Heat through walls and by bare contact with air, without evaporation, W/K. */
  readonly displayLossWPerK: number;
  readonly sumpLossWPerK: number;
  /** Heat capacity of rock and sand in the display, which follow its water within half an hour, J/K. */
  readonly rockJPerK: number;
  /** What the return pump moves, kg/s, and what stands above the weir while it does, kg. */
  readonly returnKgPerS: number;
  readonly drainBackKg: number;
  readonly topOffKgPerS: number;
  /** The float switch of the top-off hangs this far under the level at which it rests, kg of water. */
  readonly floatPlayKg: number;
  readonly salinity: number;
  readonly startC: number;
}

/** Sums of everything that crossed the tank's border, for the closing of balances. J and kg. */
export interface Ledger {
  applianceJ: number;
  lostToRoomJ: number;
  latentJ: number;
  /** Carried by water: in with top-off and by hand, out with vapour. */
  carriedInJ: number;
  carriedOutJ: number;
  evaporatedKg: number;
  toppedOffKg: number;
  byHandKg: number;
}

const DRAUGHT_STILL = 0.08;
const DRAUGHT_FAN = 1.2;
/** Heat that creeps between display and sump through standing pipes, W/K. */
const STANDING_WPerK = 2;
const DRAIN_DOWN_S = 25;
const ROCK_S = 1800;

export class TankWorld {
  readonly id: string;
  readonly design: TankDesign;
  readonly site: SiteWorld;
  readonly display: Body;
  /** The display itself when there is no sump. */
  readonly sump: Body;
  readonly appliances = new Map<string, Appliance>();
  readonly reservoirs = new Map<string, Reservoir>();
  readonly ledger: Ledger = { applianceJ: 0, lostToRoomJ: 0, latentJ: 0, carriedInJ: 0, carriedOutJ: 0, evaporatedKg: 0, toppedOffKg: 0, byHandKg: 0 };
  /** Flow through the return pump, kg/s. */
  returnFlow = 0;
  /** The float hangs: the sump wants water. */
  floatDown = false;
  readonly #heatPerKgK: number;
  readonly #restKg: number;
  readonly #weirKg: number;
  readonly #sumpStartKg: number;
  readonly #heaters: Heater[] = [];
  readonly #chillers: Chiller[] = [];
  readonly #lights: Light[] = [];
  readonly #motors: Motor[] = [];
  #rockC: number;

  constructor(design: TankDesign, site: SiteWorld) {
    this.id = design.id;
    this.design = design;
    this.site = site;
    this.#heatPerKgK = specificHeat(design.salinity);
    this.display = new Body(design.displayLitres, design.salinity, design.startC, this.#heatPerKgK);
    this.sump = design.sumpLitres > 0 ? new Body(design.sumpLitres, design.salinity, design.startC, this.#heatPerKgK) : this.display;
    this.#rockC = design.startC;
    this.#weirKg = this.display.kg;
    this.#sumpStartKg = this.sump.kg;
    // Filled with the pump running: what stands above the weir came on top.
    if (this.hasSump) {
      const above = new Body(design.drainBackKg, design.salinity, design.startC, this.#heatPerKgK);
      above.pour(this.display, design.drainBackKg);
    }
    this.#restKg = this.totalKg;
  }

  get hasSump(): boolean {
    return this.sump !== this.display;
  }

  add(appliance: Appliance): void {
    this.appliances.set(appliance.id, appliance);
    if (appliance instanceof Heater) this.#heaters.push(appliance);
    else if (appliance instanceof Chiller) this.#chillers.push(appliance);
    else if (appliance instanceof Light) this.#lights.push(appliance);
    else if (appliance instanceof Motor) this.#motors.push(appliance);
  }

  /** Water and salt in display and sump together, kg. */
  get totalKg(): number {
    return this.display.kg + (this.hasSump ? this.sump.kg : 0);
  }

  get saltKg(): number {
    return this.display.saltKg + (this.hasSump ? this.sump.saltKg : 0);
  }

  /** Heat content of water and rock against 0 °C. */
  get heatJ(): number {
    return this.display.heatJ + (this.hasSump ? this.sump.heatJ : 0) + this.design.rockJPerK * this.#rockC;
  }

  /** Height of water above the floor of the sump (of the display when there is no sump), mm. */
  get sumpLevelMm(): number {
    return levelMm(this.sump, this.hasSump ? this.design.sumpSurfaceM2 : this.design.displaySurfaceM2);
  }

  get displayLevelMm(): number {
    return levelMm(this.display, this.design.displaySurfaceM2);
  }

  get drawWatts(): number {
    let sum = 0;
    for (const appliance of this.appliances.values()) sum += appliance.drawWatts;
    return sum;
  }

  /** Somebody pours fresh water in, or (negative) a leak or bucket takes solution out of the sump. */
  byHand(kg: number, waterC: number): void {
    if (kg >= 0) {
      this.sump.addWater(kg, waterC);
      this.ledger.carriedInJ += kg * this.#heatPerKgK * waterC;
    } else {
      const before = this.sump.heatJ;
      this.sump.pour(new Body(0, 0, 0, this.#heatPerKgK), -kg);
      this.ledger.carriedOutJ += before - this.sump.heatJ;
    }
    this.ledger.byHandKg += kg;
  }

  /** What a weekly visit does to the water: reservoir filled (unless forgotten), a tank without one topped up by hand. */
  visit(): void {
    for (const reservoir of this.reservoirs.values()) if (!reservoir.forgotten) reservoir.setTo(reservoir.capacityKg);
    const missingKg = this.#restKg - this.totalKg;
    if (this.reservoirs.size === 0 && missingKg > 0) this.byHand(missingKg, this.site.roomC);
  }

  step(dtS: number): void {
    const { site, design, display, sump, ledger } = this;
    const supply = site.volts / site.nominalVolts;
    const displayC = display.waterC;
    const sumpC = sump.waterC;
    const inSump: Surroundings = { waterC: sumpC, roomC: site.roomC, supply, hour: site.local.hour };

    // Heat from and to appliances. Heaters and chillers sit in the sump where there is one.
    let sumpWatts = 0;
    let displayWatts = 0;
    let draught = DRAUGHT_STILL;
    for (const heater of this.#heaters) sumpWatts += heater.step(inSump, dtS);
    for (const chiller of this.#chillers) sumpWatts += chiller.step(inSump, dtS);
    for (const light of this.#lights) displayWatts += light.step(inSump, dtS);
    let circulates: Motor | null = null;
    let topOff: Motor | null = null;
    for (const motor of this.#motors) {
      if (motor.kind === 'return-pump') circulates = motor;
      if (motor.kind === 'top-off-pump') topOff = motor;
      const watts = motor.step(inSump, dtS);
      if (motor.kind === 'circulation-pump') displayWatts += watts;
      else sumpWatts += watts;
      if (motor.kind === 'fan' && motor.running) draught = DRAUGHT_FAN;
    }

    // Heat to the room.
    const displayLossW = design.displayLossWPerK * (displayC - site.roomC);
    const sumpLossW = this.hasSump ? design.sumpLossWPerK * (sumpC - site.roomC) : 0;
    const creepW = this.hasSump ? STANDING_WPerK * (displayC - sumpC) : 0;
    const intoRockW = (design.rockJPerK / ROCK_S) * (displayC - this.#rockC);
    if (design.rockJPerK > 0) this.#rockC += (intoRockW * dtS) / design.rockJPerK;
    display.addHeat((displayWatts - displayLossW - creepW - intoRockW) * dtS);
    sump.addHeat((sumpWatts - sumpLossW + creepW) * dtS);
    ledger.applianceJ += (sumpWatts + displayWatts) * dtS;
    ledger.lostToRoomJ += (displayLossW + sumpLossW) * dtS;

    this.#evaporate(display, design.displaySurfaceM2, displayC, draught, dtS);
    if (this.hasSump) {
      this.#evaporate(sump, design.sumpSurfaceM2, sumpC, DRAUGHT_STILL, dtS);
      this.#circulate(circulates, dtS);
    }
    this.#topOff(topOff, supply, dtS);
  }

  #evaporate(body: Body, surfaceM2: number, waterC: number, draught: number, dtS: number): void {
    if (body.waterKg <= 0) return;
    const rate = evaporationRate(surfacePressureKPa(body.salinity, waterC), this.site.airKPa, draught);
    const kg = Math.min(rate * surfaceM2 * this.design.openShare * dtS, body.waterKg);
    const latentJPerKg = latentHeat(waterC);
    this.ledger.evaporatedKg += kg;
    this.ledger.latentJ += kg * latentJPerKg;
    this.ledger.carriedOutJ += kg * this.#heatPerKgK * waterC;
    body.evaporate(kg, latentJPerKg);
  }

  #circulate(pump: Motor | null, dtS: number): void {
    const { display, sump, design } = this;
    let liftedKg = 0;
    if (pump?.running === true) {
      // The intake sits low in the sump: it draws air when less than a fifth of the usual water is left.
      const availableKg = Math.max(0, sump.kg - 0.2 * this.#sumpStartKg);
      const wantedKg = design.returnKgPerS * Math.min(1.1, this.site.volts / this.site.nominalVolts) * dtS;
      liftedKg = Math.min(wantedKg, availableKg);
      pump.load = wantedKg > 0 ? liftedKg / wantedKg : 1;
    }
    // Head over the weir relaxes towards what the lifted flow sustains; the rest has gone over.
    const sustainedKg = design.drainBackKg * (liftedKg / (design.returnKgPerS * dtS));
    const head = display.kg - this.#weirKg;
    const nextHead = head <= 0 ? head + liftedKg : sustainedKg + (head - sustainedKg) * Math.exp(-dtS / DRAIN_DOWN_S);
    const overKg = Math.max(0, head + liftedKg - nextHead);
    sump.pour(display, liftedKg);
    display.pour(sump, overKg);
    this.returnFlow = liftedKg / dtS;
  }

  #topOff(pump: Motor | null, supply: number, dtS: number): void {
    const { design, sump, ledger } = this;
    for (const reservoir of this.reservoirs.values()) reservoir.waterC += (this.site.roomC - reservoir.waterC) * (1 - Math.exp(-dtS / 14_400));
    const reservoir = this.reservoirs.values().next().value;
    if (reservoir === undefined) return;
    const below = this.#sumpStartKg - sump.kg;
    if (below > design.floatPlayKg) this.floatDown = true;
    else if (below < 0) this.floatDown = false;
    let flows = this.floatDown && supply > 0.6;
    if (pump !== null) {
      pump.called = this.floatDown;
      pump.load = reservoir.waterKg > 0 ? 1 : 0;
      flows = pump.running;
    }
    if (!flows) return;
    const kg = reservoir.draw(design.topOffKgPerS * dtS);
    sump.addWater(kg, reservoir.waterC);
    ledger.toppedOffKg += kg;
    ledger.carriedInJ += kg * this.#heatPerKgK * reservoir.waterC;
  }
}

function levelMm(body: Body, surfaceM2: number): number {
  return body.kg / densityKgPerLitre(body.salinity, body.waterC) / surfaceM2;
}
