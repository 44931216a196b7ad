/**
 * A chiller: compressor behind a thermostat and an anti-short-cycle delay. Cooling builds up over the first minute of a run and fades when
 * the room is warm against the water. Magnitudes are common practice, no source: COP 2–3, three minutes of rest between runs.
 */
import type { RandomSequence } from '../random.ts';
import { Appliance, type Surroundings } from './appliance.ts';
import type { Thermostat } from './thermostat.ts';

const REST_S = 180;
const BUILD_UP_S = 60;
/** Starting draws several times the running current for about a second; a meter that averages 10 s sees this much. */
const START_FACTOR = 1.6;
const START_S = 10;
/** The head of the last run bleeds off through the capillary; a start against it draws so much more, for so much longer. */
const HEAD_S = 70;
const START_AGAINST_HEAD = 0.9;
const HEAD_START_S = 30;

export class Chiller extends Appliance {
  readonly thermostat: Thermostat;
  /**
   * Set by a fault: a relay that chatters. The dead zone and the rest between runs are lost; while the water is above the lower edge of the
   * dead zone the compressor is switched on and off for times within these bounds, s.
   */
  chatter: { readonly onS: readonly [number, number]; readonly offS: readonly [number, number] } | null = null;
  /** Set by a fault: share of the cooling that is left (refrigerant lost, condenser fouled, no water through it). */
  coolingShare = 1;
  /** Set by a fault: draw against that of a healthy compressor; one that pumps no refrigerant runs light, one with a fouled condenser heavy. */
  drawShare = 1;
  starts = 0;
  /** Heat being taken out of the water, W. */
  coolingWatts = 0;
  #on = false;
  #inStateS = REST_S;
  /** Head pressure left between runs, as a share of that of a run. */
  #head = 0;
  #headAtStart = 0;
  #chatterS = 0;
  readonly #random: RandomSequence;

  constructor(id: string, nameplateWatts: number, thermostat: Thermostat, random: RandomSequence) {
    super(id, 'chiller', nameplateWatts, 0.8);
    this.thermostat = thermostat;
    this.#random = random;
  }

  /** @returns heat into the water, W: negative while it cools. */
  step({ waterC, roomC, supply }: Surroundings, dtS: number): number {
    this.thermostat.step(waterC, dtS);
    const wanted = supply > 0.6 && (this.chatter === null ? this.#calmly() : this.#chattering(dtS));
    if (wanted === this.#on) this.#inStateS += dtS;
    else {
      this.#on = wanted;
      this.#inStateS = 0;
      if (wanted) {
        this.starts += 1;
        this.#headAtStart = this.#head;
      }
    }
    this.#head = this.#on ? 1 - (1 - this.#head) * Math.exp(-dtS / 20) : this.#head * Math.exp(-dtS / HEAD_S);
    if (!this.#on) {
      this.coolingWatts = 0;
      this.record(0, dtS);
      return 0;
    }
    const healthy = this.nameplateWatts * (0.9 + 0.012 * (roomC - 22));
    const running = healthy * this.drawShare;
    const starting = this.#inStateS < START_S ? START_FACTOR - 1 : 0;
    const againstHead = this.#inStateS < HEAD_START_S ? START_AGAINST_HEAD * this.#headAtStart : 0;
    this.record(running * (1 + starting + againstHead), dtS);
    const performance = Math.min(3.6, Math.max(1.2, 3.2 - 0.06 * (roomC - waterC)));
    this.coolingWatts = healthy * performance * this.coolingShare * (1 - Math.exp(-(this.#inStateS + dtS / 2) / BUILD_UP_S));
    return -this.coolingWatts;
  }

  #calmly(): boolean {
    return this.thermostat.calling && (this.#on || this.#inStateS >= REST_S);
  }

  #chattering(dtS: number): boolean {
    const bounds = this.chatter;
    if (bounds === null || this.thermostat.feltC < this.thermostat.setpointC - this.thermostat.bandK) return false;
    this.#chatterS -= dtS;
    if (this.#chatterS > 0) return this.#on;
    const [shortestS, longestS] = this.#on ? bounds.offS : bounds.onS;
    this.#chatterS = shortestS + (longestS - shortestS) * this.#random.uniform();
    return !this.#on;
  }
}
