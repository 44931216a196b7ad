/**
 * A tank in an office, integrated minute by minute from conservation of energy. Made for the tests of the thermal model and independent of it: its own
 * heat capacity, its own vapour pressure (Magnus), nothing from src/physics. All figures are invented within common practice.
 */
import type { Sample } from '../../../src/physics/thermal/block.ts';

export interface House {
  readonly capacityWhPerK: number;
  /** Walls and bare contact, W/K. */
  readonly wallWPerK: number;
  /** Evaporation: W of latent heat per Pa of difference. */
  readonly evaporationWPerPa: number;
  readonly pumpWatts: number;
  readonly pumpShare: number;
  readonly lightWatts: number;
  readonly lightShare: number;
  readonly heaterWatts: number;
  readonly chillerWatts: number;
  readonly chillerCop: number;
  readonly setpointC: number;
  readonly roomBaseC: number;
  readonly officeK: number;
  readonly weekendK: number;
  readonly weatherK: number;
  readonly waterOffsetK: number;
  readonly roomOffsetK: number;
}

export interface Minute {
  readonly hour: number;
  readonly waterC: number;
  readonly roomC: number;
  readonly heaterWatts: number;
  readonly chillerWatts: number;
  readonly lightWatts: number;
  readonly humidityPercent: number;
}

export type Mode = 'normal' | 'outage' | 'heater-stuck';

export class Random {
  #state: number;

  constructor(seed: number) {
    this.#state = (Math.imul(seed, 2_654_435_761) ^ 0x9e3779b9) >>> 0;
    for (let i = 0; i < 5; i += 1) this.next();
  }

  /** xorshift32, 0–1. */
  next(): number {
    let x = this.#state || 1;
    x ^= x << 13;
    x ^= x >>> 17;
    x ^= x << 5;
    this.#state = x >>> 0;
    return this.#state / 2 ** 32;
  }

  within(low: number, high: number): number {
    return low + (high - low) * this.next();
  }

  normal(): number {
    return Math.sqrt(-2 * Math.log(1 - this.next())) * Math.cos(2 * Math.PI * this.next());
  }
}

/** A house by chance. @param likelyWhPerK what the volumes say. */
export function anyHouse(random: Random, likelyWhPerK: number, linear: boolean): House {
  const loss = likelyWhPerK / random.within(12, 26);
  const evaporates = linear ? 0 : random.within(0.25, 0.55);
  return {
    capacityWhPerK: likelyWhPerK * random.within(0.86, 1.12),
    wallWPerK: loss * (1 - evaporates),
    // Around 26 °C the vapour pressure rises by 200 Pa/K.
    evaporationWPerPa: (loss * evaporates) / 200,
    pumpWatts: random.within(50, 130) * (likelyWhPerK / 800),
    pumpShare: random.within(0.7, 1),
    lightWatts: random.within(100, 350) * (likelyWhPerK / 800),
    lightShare: random.within(0.15, 0.45),
    heaterWatts: likelyWhPerK * random.within(0.6, 0.9),
    chillerWatts: 0,
    chillerCop: 2.4,
    setpointC: random.within(25, 26.5),
    roomBaseC: random.within(19.5, 21.5),
    officeK: random.within(0.8, 2),
    weekendK: random.within(0.5, 2.5),
    weatherK: random.within(0.4, 1),
    waterOffsetK: random.within(-0.3, 0.3),
    roomOffsetK: random.within(-0.4, 0.4),
  };
}

export class Run {
  readonly house: House;
  readonly #random: Random;
  waterC: number;
  hour = 0;
  #heating = false;
  #chilling = false;
  #weather = 0;
  #humidity = 0.45;

  constructor(house: House, random: Random) {
    this.house = house;
    this.#random = random;
    this.waterC = house.setpointC;
  }

  /** Copy at this moment that goes on with its own chance. */
  fork(seed: number): Run {
    const twin = new Run(this.house, new Random(seed));
    twin.waterC = this.waterC;
    twin.hour = this.hour;
    twin.#heating = this.#heating;
    twin.#weather = this.#weather;
    twin.#humidity = this.#humidity;
    return twin;
  }

  get roomC(): number {
    const { roomBaseC, officeK, weekendK } = this.house;
    const day = Math.floor(this.hour / 24) % 7;
    const ofDay = this.hour % 24;
    const working = day < 5;
    const office = working ? officeK * Math.max(0, Math.sin((Math.PI * (ofDay - 7)) / 13)) : 0;
    return roomBaseC + office - (working ? 0 : weekendK) + this.#weather;
  }

  step(mode: Mode): Minute {
    const { house } = this;
    const dtH = 1 / 60;
    const roomC = this.roomC;
    const { setpointC } = house;
    if (this.waterC < setpointC - 0.25) this.#heating = true;
    if (this.waterC > setpointC + 0.25) this.#heating = false;
    if (this.waterC > setpointC + 1.2) this.#chilling = true;
    if (this.waterC < setpointC + 0.7) this.#chilling = false;
    const ofDay = this.hour % 24;
    const alive = mode !== 'outage';
    const heaterWatts = !alive ? 0 : mode === 'heater-stuck' || this.#heating ? house.heaterWatts : 0;
    const chillerWatts = alive && this.#chilling ? house.chillerWatts : 0;
    const lightWatts = alive && ofDay >= 10 && ofDay < 20 ? house.lightWatts : 0;
    const pumps = alive ? house.pumpWatts * house.pumpShare : 0;
    const evaporation = house.evaporationWPerPa * (alive ? 1 : 0.8) * Math.max(0, 0.98 * magnusPa(this.waterC) - this.#humidity * magnusPa(roomC));
    const inWatts = heaterWatts + pumps + lightWatts * house.lightShare - chillerWatts * house.chillerCop - evaporation - house.wallWPerK * (this.waterC - roomC);
    const now = { hour: this.hour, waterC: this.waterC, roomC, heaterWatts, chillerWatts, lightWatts, humidityPercent: 100 * this.#humidity };
    this.waterC += (inWatts * dtH) / house.capacityWhPerK;
    this.hour += dtH;
    // Weather and humidity wander with memories of two days and one.
    this.#weather += -this.#weather * (dtH / 48) + house.weatherK * Math.sqrt((2 * dtH) / 48) * this.#random.normal();
    this.#humidity += (0.45 - this.#humidity) * (dtH / 24) + 0.06 * Math.sqrt((2 * dtH) / 24) * this.#random.normal();
    return now;
  }
}

/** What cheap instruments make of it: offsets, noise, tenths of a kelvin, meters good to 1 %. */
export function measure(minute: Minute, house: House, random: Random, options: { readonly room: boolean; readonly light: boolean }): Sample {
  const tenths = (value: number): number => Math.round(value * 10) / 10;
  const meter = (watts: number): number => (watts === 0 ? 0 : Math.round(watts * (1 + 0.01 * random.normal()) * 10) / 10);
  return {
    atMs: Math.round(minute.hour * 3_600_000),
    waterC: tenths(minute.waterC + house.waterOffsetK + 0.04 * random.normal()),
    roomC: options.room ? tenths(minute.roomC + house.roomOffsetK + 0.1 * random.normal()) : null,
    humidityPercent: null,
    heaterWatts: meter(minute.heaterWatts),
    chillerWatts: meter(minute.chillerWatts),
    lightWatts: options.light ? meter(minute.lightWatts) : 0,
    disturbed: false,
  };
}

function magnusPa(celsius: number): number {
  return 611.2 * Math.exp((17.62 * celsius) / (243.12 + celsius));
}
