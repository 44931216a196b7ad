/** What a site gives its tanks: air, mains and the gateway that sends their readings. */
import type { Site } from '../../src/domain/fleet.ts';
import { type RandomSequence, randomSequence, streamKey, uniformAt } from '../random.ts';
import { type LocalClock, type LocalTime, localClock } from './local-time.ts';
import { saturationPressureKPa } from './water.ts';

export class SiteWorld {
  readonly id: string;
  readonly timeZone: string;
  readonly nominalVolts: number;
  local: LocalTime = { hour: 0, weekday: 0, dayOfYear: 0 };
  roomC = 22;
  humidityPercent = 45;
  /** Vapour pressure of the room air. */
  airKPa = 1.2;
  /** What the supply would give; `volts` is what arrives. */
  supplyVolts: number;
  /** Set by a fault: the site has no mains. */
  mainsLost = false;
  /** Set by a fault: nothing the gateway should send is sent. */
  gatewaySilent = false;
  /** Set by a fault: heat the air conditioning does not carry away, K on top of the room's usual temperature. */
  extraRoomK = 0;
  readonly #clock: LocalClock;
  readonly #random: RandomSequence;
  readonly #comfortC: number;
  readonly #setbackK: number;
  #roomNoise = 0;
  #humidityNoise = 0;
  #voltsNoise = 0;

  constructor(site: Site, seed: number, startMs: number) {
    this.id = site.id;
    this.timeZone = site.timeZone;
    this.nominalVolts = site.timeZone.startsWith('America/') ? 120 : 230;
    this.supplyVolts = this.nominalVolts;
    this.#clock = localClock(site.timeZone);
    this.#random = randomSequence(streamKey(seed, `site ${site.id}`));
    const nature = streamKey(seed, `site nature ${site.id}`);
    this.#comfortC = 21.5 + 1.2 * uniformAt(nature, 1);
    this.#setbackK = 2 + 1.2 * uniformAt(nature, 2);
    this.local = this.#clock(startMs);
    this.roomC = this.#wantedC();
    this.step(startMs, 0);
  }

  get volts(): number {
    return this.mainsLost ? 0 : this.supplyVolts;
  }

  step(nowMs: number, dtS: number): void {
    this.local = this.#clock(nowMs);
    // Noises wander and return (Ornstein–Uhlenbeck): the room over an hour, the mains over ten minutes, humidity over half a day.
    this.#roomNoise = wander(this.#roomNoise, 0.35, 3600, dtS, this.#random.normal());
    this.#voltsNoise = wander(this.#voltsNoise, 0.006, 600, dtS, this.#random.normal());
    this.#humidityNoise = wander(this.#humidityNoise, 4, 43_200, dtS, this.#random.normal());
    // Walls and furniture follow the air conditioning with a lag of two hours.
    this.roomC += (this.#wantedC() - this.roomC) * (1 - Math.exp(-dtS / 7200));
    this.humidityPercent = Math.min(75, Math.max(20, 45 + 8 * season(this.local.dayOfYear) + this.#humidityNoise));
    this.airKPa = saturationPressureKPa(this.roomC) * (this.humidityPercent / 100);
    // Sagging in the evening when everybody cooks, a touch high at night.
    const daily = -0.012 * Math.exp(-(((this.local.hour - 18.5) / 2.5) ** 2)) + 0.004;
    this.supplyVolts = this.nominalVolts * (1 + daily + this.#voltsNoise);
  }

  #wantedC(): number {
    const { hour, weekday, dayOfYear } = this.local;
    const occupied = weekday >= 1 && weekday <= 5 && hour >= 7 && hour < 19;
    const outside = season(dayOfYear) + 0.25 * Math.cos(((hour - 15) / 24) * 2 * Math.PI);
    return this.#comfortC + 0.5 * outside + (occupied ? 0 : this.#setbackK * outside) + this.#roomNoise + this.extraRoomK;
  }
}

/** −1 in mid January, +1 in mid July: every invented site lies north of the equator. */
function season(dayOfYear: number): number {
  return -Math.cos(((dayOfYear - 14) / 365.2425) * 2 * Math.PI);
}

function wander(value: number, spread: number, timeS: number, dtS: number, normal: number): number {
  const kept = Math.exp(-dtS / timeS);
  return value * kept + spread * Math.sqrt(1 - kept * kept) * normal;
}
