/**
 * One tank: display above, sump below, everything on plugs around it. Integrated in small steps from what is conserved (water, salt and heat
 * of each body); temperatures, salinity and levels are read off those. Where water stands:
 *
 *   sump ── return pump ──▶ display ── over the weir ──▶ sump
 *
 * The weir keeps the display's level, so evaporation shows in the sump; when the return pump stops, what stood above the weir drains down, the
 * two bodies part, and the display cools by itself. What a sump (or a display without one) cannot hold goes onto the floor.
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
  /** What sump and display hold before they run over, L. */
  readonly sumpHoldsLitres: number;
  readonly displayHoldsLitres: number;
  /** What a running skimmer takes out, solution, kg a day. */
  readonly skimKgPerDay: number;
  readonly salinity: number;
  readonly startC: number;
}

/** Water that goes where it should not. */
export interface Leak {
  readonly kgPerS: number;
  readonly from: 'display' | 'sump';
  /** Whether it runs over the leak pad on the floor, or away unseen. */
  readonly ontoPad: boolean;
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
  /** Poured in less taken out, water and salt together; the salt of it. */
  byHandKg: number;
  byHandSaltKg: number;
  /** Solution that left through leaks, over rims and through the skimmer; the salt of it. */
  lostKg: number;
  lostSaltKg: number;
}

const DRAUGHT_FAN = 1.2;
/** A lid taken off lets the air of the room at the water, and the lamps' fans. */
const DRAUGHT_OPEN = 0.25;
/** A leak pad reads wet with this much on the floor; a floor dries at this rate, kg/s. */
const PAD_WET_KG = 0.05;
const FLOOR_DRIES_KG_PER_S = 1 / 86_400;
/** What a floor keeps; the rest runs on. */
const FLOOR_HOLDS_KG = 2;
const SECONDS_PER_DAY = 86_400;
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
  readonly ledger: Ledger = { applianceJ: 0, lostToRoomJ: 0, latentJ: 0, carriedInJ: 0, carriedOutJ: 0, evaporatedKg: 0, toppedOffKg: 0, byHandKg: 0, byHandSaltKg: 0, lostKg: 0, lostSaltKg: 0 };
  /** Flow through the return pump, kg/s. */
  returnFlow = 0;
  /** The float hangs: the sump wants water. */
  floatDown = false;
  /** Set by a fault: the float is jammed. */
  floatJammed: 'up' | 'down' | null = null;
  /** Lids are off, for as long as hands or food go in. */
  lidOpen = false;
  /** Set by a fault: a lid was left off, and this much air goes over the water, m/s. */
  lidForgotten: number | null = null;
  /** Probes lie beside the tank while somebody wipes them. */
  probesOut = false;
  /** Set by faults. */
  readonly leaks = new Set<Leak>();
  /** Set by a fault: what a skimmer that foams over takes out, kg/s; `null`: it skims as it should. */
  skimmerOverflow: { readonly kgPerS: number; readonly ontoPad: boolean } | null = null;
  /** Water on the floor by the leak pad, kg. */
  floorKg = 0;
  readonly #heatPerKgK: number;
  readonly #restKg: number;
  readonly #weirKg: number;
  readonly #sumpStartKg: number;
  readonly #salt: boolean;
  /** Catches what is lost in a step, to be counted. */
  readonly #caught: Body;
  readonly #sumpHoldsKg: number;
  readonly #displayHoldsKg: number;
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
    this.#caught = this.display.catcher;
    const density = densityKgPerLitre(design.salinity, design.startC);
    this.#sumpHoldsKg = this.hasSump ? design.sumpHoldsLitres * density : Number.POSITIVE_INFINITY;
    this.#displayHoldsKg = design.displayHoldsLitres * density;
    this.#salt = design.salinity > 5;
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

  /** Water is on the pad. */
  get padWet(): boolean {
    return this.floorKg > PAD_WET_KG;
  }

  /** How much is missing against the day it was filled, kg; negative when there is too much. */
  get missingKg(): number {
    return this.#restKg - this.totalKg;
  }

  /** Somebody pours water in: fresh, unless it was mixed. */
  pourIn(kg: number, waterC: number, salinity = 0, into: 'display' | 'sump' = 'sump'): void {
    this[into].addSolution(kg, salinity, waterC);
    this.ledger.carriedInJ += kg * this.#heatPerKgK * waterC;
    this.ledger.byHandKg += kg;
    this.ledger.byHandSaltKg += (kg * salinity) / 1000;
  }

  /** Somebody takes water out. @returns what was there to take, kg. */
  takeOut(kg: number, from: 'display' | 'sump'): number {
    const taken = this[from].catcher;
    this[from].pour(taken, kg);
    this.ledger.carriedOutJ += taken.heatJ;
    this.ledger.byHandKg -= taken.kg;
    this.ledger.byHandSaltKg -= taken.saltKg;
    return taken.kg;
  }

  /** What a weekly visit does to the water: reservoir filled (unless forgotten), a tank without one topped up by hand. */
  visit(): void {
    for (const reservoir of this.reservoirs.values()) if (!reservoir.forgotten) reservoir.setTo(reservoir.capacityKg);
    if (this.reservoirs.size === 0 && this.missingKg > 0) this.pourIn(this.missingKg, this.site.roomC);
  }

  step(dtS: number): void {
    const { site, design, display, sump, ledger } = this;
    const displayC = display.waterC;
    const sumpC = sump.waterC;
    const around: Surroundings = { waterC: sumpC, roomC: site.roomC, supply: 1, hour: site.local.hour };

    // Heat from and to appliances. Heaters and chillers sit in the sump where there is one.
    let sumpWatts = 0;
    let displayWatts = 0;
    const open = this.lidOpen || this.lidForgotten !== null;
    let draught = open ? Math.max(this.lidForgotten ?? DRAUGHT_OPEN, site.draught) : site.draught;
    for (const heater of this.#heaters) sumpWatts += heater.step(this.#plug(heater, around), dtS);
    for (const chiller of this.#chillers) sumpWatts += chiller.step(this.#plug(chiller, around), dtS);
    for (const light of this.#lights) displayWatts += light.step(this.#plug(light, around), dtS);
    let circulates: Motor | null = null;
    let topOff: Motor | null = null;
    let skims = false;
    for (const motor of this.#motors) {
      if (motor.kind === 'return-pump') circulates = motor;
      if (motor.kind === 'top-off-pump') topOff = motor;
      const watts = motor.step(this.#plug(motor, around), dtS);
      if (motor.kind === 'circulation-pump') displayWatts += watts;
      else sumpWatts += watts;
      if (motor.kind === 'fan' && motor.running) draught = DRAUGHT_FAN;
      if (motor.kind === 'skimmer' && motor.running) skims = true;
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

    this.#evaporate(display, design.displaySurfaceM2, displayC, open ? 1 : design.openShare, draught, dtS);
    if (this.hasSump) {
      this.#evaporate(sump, design.sumpSurfaceM2, sumpC, design.openShare, site.draught, dtS);
      this.#circulate(circulates, dtS);
    }
    this.#topOff(topOff, dtS);
    this.#lose(skims, dtS);
  }

  #plug(appliance: Appliance, around: Surroundings): Surroundings {
    around.supply = appliance.unplugged ? 0 : this.site.supplyAt(appliance.circuit);
    return around;
  }

  #evaporate(body: Body, surfaceM2: number, waterC: number, openShare: number, draught: number, dtS: number): void {
    if (body.waterKg <= 0) return;
    const rate = evaporationRate(surfacePressureKPa(body.salinity, waterC), this.site.airKPa, draught);
    const kg = Math.min(rate * surfaceM2 * openShare * dtS, body.waterKg);
    const latentJPerKg = latentHeat(waterC);
    this.ledger.evaporatedKg += kg;
    this.ledger.latentJ += kg * latentJPerKg;
    const beforeJ = body.heatJ;
    body.evaporate(kg, latentJPerKg);
    this.ledger.carriedOutJ += beforeJ - body.heatJ - kg * latentJPerKg;
  }

  /** Skimmate, leaks, and what runs over. */
  #lose(skims: boolean, dtS: number): void {
    const { design, display, sump } = this;
    if (skims && this.skimmerOverflow !== null) this.#spill(sump, Math.min(this.skimmerOverflow.kgPerS * dtS, aboveThird(sump, this.#sumpStartKg)), this.skimmerOverflow.ontoPad);
    else if (skims && this.#salt) this.#spill(sump, (design.skimKgPerDay * dtS) / SECONDS_PER_DAY, false);
    for (const leak of this.leaks) {
      const [body, startKg] = leak.from === 'display' ? [display, this.#weirKg] : [sump, this.#sumpStartKg];
      this.#spill(body, Math.min(leak.kgPerS * dtS, aboveThird(body, startKg)), leak.ontoPad);
    }
    if (this.hasSump) this.#spill(sump, sump.kg - this.#sumpHoldsKg, true);
    this.#spill(display, display.kg - this.#displayHoldsKg, true);
    if (this.floorKg > 0) this.floorKg = Math.max(0, Math.min(FLOOR_HOLDS_KG, this.floorKg) - FLOOR_DRIES_KG_PER_S * dtS);
  }

  #spill(from: Body, kg: number, ontoPad: boolean): void {
    if (kg <= 0) return;
    const caught = this.#caught;
    from.pour(caught, kg);
    this.ledger.lostKg += caught.kg;
    this.ledger.lostSaltKg += caught.saltKg;
    this.ledger.carriedOutJ += caught.heatJ;
    if (ontoPad) this.floorKg += caught.kg;
    caught.clear();
  }

  #circulate(pump: Motor | null, dtS: number): void {
    const { display, sump, design } = this;
    let liftedKg = 0;
    if (pump?.running === true && pump.airlocked) pump.load = 0;
    else if (pump?.running === true) {
      // The intake sits low in the sump: it draws air when less than a fifth of the usual water is left.
      const availableKg = Math.max(0, sump.kg - 0.2 * this.#sumpStartKg);
      const wantedKg = design.returnKgPerS * Math.min(1.1, this.site.volts / this.site.nominalVolts) * dtS;
      liftedKg = Math.min(wantedKg * (1 - pump.clog), availableKg);
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

  #topOff(pump: Motor | null, dtS: number): void {
    const { design, sump, ledger } = this;
    for (const reservoir of this.reservoirs.values()) reservoir.waterC += (this.site.roomC - reservoir.waterC) * (1 - Math.exp(-dtS / 14_400));
    const reservoir = this.reservoirs.values().next().value;
    if (reservoir === undefined) return;
    const below = this.#sumpStartKg - sump.kg;
    if (this.floatJammed !== null) this.floatDown = this.floatJammed === 'down';
    else if (below > design.floatPlayKg) this.floatDown = true;
    else if (below < 0) this.floatDown = false;
    let flows = this.floatDown && this.site.volts > 0.6 * this.site.nominalVolts;
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

/** What hangs in the water or is screwed into it high up runs dry once the water has fallen to it: a third of a body never leaves this way. */
function aboveThird(body: Body, startKg: number): number {
  return Math.max(0, body.kg - startKg / 3);
}

function levelMm(body: Body, surfaceM2: number): number {
  return body.kg / densityKgPerLitre(body.salinity, body.waterC) / surfaceM2;
}
