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
  /** The mains are away for a moment. */
  blinking = false;
  /** Set by a fault: the site has no mains. */
  mainsLost = false;
  /** Set by a fault: share of the voltage that is missing. */
  sagShare = 0;
  /** Circuits that are dead: a breaker tripped, a strip switched off. */
  readonly deadCircuits = new Set<string>();
  /** Set by a fault: how far the gateway's clock runs ahead (behind: negative). Only sources that send a time of their own show it. */
  clockErrorMs = 0;
  /** Air over the water, m/s. */
  draught = DRAUGHT_STILL;
  /** Set by a fault: nothing the gateway should send is sent. */
  gatewaySilent = false;
  /** Set by a fault: K on top of the room's usual temperature; negative when the heating of the building has failed. */
  extraRoomK = 0;
  readonly #clock: LocalClock;
  readonly #random: RandomSequence;
  readonly #comfortC: number;
  readonly #setbackK: number;
  #roomNoise = 0;
  #humidityNoise = 0;
  #voltsNoise = 0;
  readonly #habits: SiteHabits;
  readonly #afternoonKey: number;

  constructor(site: Site, seed: number, startMs: number, habits: SiteHabits = calmSite) {
    this.#habits = habits;
    this.#afternoonKey = streamKey(seed, `afternoons ${site.id}`);
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
    return this.mainsLost || this.blinking ? 0 : this.supplyVolts * (1 - this.sagShare);
  }

  /** What arrives at a plug on this circuit, as a fraction of nominal. */
  supplyAt(circuit: string | null): number {
    if (this.deadCircuits.size > 0 && circuit !== null && this.deadCircuits.has(circuit)) return 0;
    return this.volts / this.nominalVolts;
  }

  step(nowMs: number, dtS: number): void {
    this.local = this.#clock(nowMs);
    // Noises wander and return (Ornstein–Uhlenbeck): the room over an hour, the mains over ten minutes, humidity over half a day.
    this.#roomNoise = wander(this.#roomNoise, 0.35, 3600, dtS, this.#random.normal());
    this.#voltsNoise = wander(this.#voltsNoise, 0.006, 600, dtS, this.#random.normal());
    this.#humidityNoise = wander(this.#humidityNoise, 4, 43_200, dtS, this.#random.normal());
    if (this.#habits.draughtSpread > 0) this.draught = Math.max(0.02, DRAUGHT_STILL + wander(this.draught - DRAUGHT_STILL, this.#habits.draughtSpread, 1800, dtS, this.#random.normal()));
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
    return this.#comfortC + 0.5 * outside + (occupied ? 0 : this.#setbackK * outside) + this.#sunK() + this.#roomNoise + this.extraRoomK;
  }

  /** On some afternoons of the warm half of the year the sun stands in the windows; at the weekend nobody switches the cooling on. */
  #sunK(): number {
    const { hotAfternoonShare, hotAfternoonK, weekendK } = this.#habits;
    const { hour, weekday, dayOfYear } = this.local;
    const warmth = season(dayOfYear);
    if (hotAfternoonShare === 0 || warmth < 0) return 0;
    const weekend = weekday === 0 || weekday === 6;
    const hot = uniformAt(this.#afternoonKey, Math.floor(dayOfYear)) < hotAfternoonShare;
    const afternoon = Math.exp(-(((hour - 15.5) / 2.5) ** 2));
    return warmth * ((hot ? hotAfternoonK * afternoon : 0) + (weekend ? weekendK * (0.5 + 0.5 * afternoon) : 0));
  }
}

/** How a site lives. */
export interface SiteHabits {
  /** Share of afternoons in high summer on which the sun warms the room by `hotAfternoonK`. */
  readonly hotAfternoonShare: number;
  readonly hotAfternoonK: number;
  /** How much warmer a summer weekend without air conditioning is. */
  readonly weekendK: number;
  /** Doors and vents: spread of the air over the water about its usual stillness, m/s. */
  readonly draughtSpread: number;
}

export const calmSite: SiteHabits = { hotAfternoonShare: 0, hotAfternoonK: 0, weekendK: 0, draughtSpread: 0 };

/** Still indoor air, m/s. */
export const DRAUGHT_STILL = 0.08;

/** −1 in mid January, +1 in mid July: every invented site lies north of the equator. */
function season(dayOfYear: number): number {
  return -Math.cos(((dayOfYear - 14) / 365.2425) * 2 * Math.PI);
}

function wander(value: number, spread: number, timeS: number, dtS: number, normal: number): number {
  const kept = Math.exp(-dtS / timeS);
  return value * kept + spread * Math.sqrt(1 - kept * kept) * normal;
}
