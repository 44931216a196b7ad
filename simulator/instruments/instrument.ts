/**
 * One sensor: what it makes of the truth. Its chance is addressed by time, so leaving out a reading changes no other. Accuracies are those
 * of common cheap sensors (common practice, no source): thermometers ±0.1–0.2 K, conductivity ±1–2 %, plug meters ±1–2 %.
 */
import type { Point } from '../../src/domain/fleet.ts';
import type { Kind } from '../../src/domain/kinds.ts';
import { DAY, SECOND } from '../../src/domain/duration.ts';
import { normalAt, streamKey, uniformAt } from '../random.ts';
import { toDeclared } from './declared-unit.ts';
import type { Measure } from './measure.ts';

interface Nature {
  /** Standard deviation of one reading, canonical unit. */
  readonly noise: number;
  /** Noise in proportion to the value. */
  readonly noiseShare: number;
  /** Spread between one specimen and the next: added, and in proportion. */
  readonly offset: number;
  readonly gain: number;
  readonly lagS: number;
  /** Decimals sent, by size of the declared unit: the step in canonical units is at most this. */
  readonly step: number;
}

const natures: Record<Kind, Nature> = {
  temperature: { noise: 0.015, noiseShare: 0, offset: 0.06, gain: 0, lagS: 25, step: 0.02 },
  level: { noise: 0.6, noiseShare: 0, offset: 0, gain: 0.005, lagS: 15, step: 1 },
  fill: { noise: 0.15, noiseShare: 0, offset: 0, gain: 0.005, lagS: 15, step: 0.1 },
  volume: { noise: 0.05, noiseShare: 0, offset: 0, gain: 0.005, lagS: 15, step: 0.1 },
  conductivity: { noise: 0, noiseShare: 0.0008, offset: 0, gain: 0.008, lagS: 30, step: 0.01 },
  power: { noise: 0.05, noiseShare: 0.003, offset: 0, gain: 0.008, lagS: 0, step: 0.1 },
  current: { noise: 0.002, noiseShare: 0.004, offset: 0, gain: 0.01, lagS: 0, step: 0.01 },
  energy: { noise: 0, noiseShare: 0, offset: 0, gain: 0.008, lagS: 0, step: 0.001 },
  voltage: { noise: 0.15, noiseShare: 0, offset: 0, gain: 0.004, lagS: 0, step: 0.1 },
  flow: { noise: 2, noiseShare: 0.01, offset: 0, gain: 0.02, lagS: 5, step: 1 },
  humidity: { noise: 0.4, noiseShare: 0, offset: 1.5, gain: 0, lagS: 60, step: 1 },
  acidity: { noise: 0.008, noiseShare: 0, offset: 0.03, gain: 0, lagS: 20, step: 0.01 },
  switch: { noise: 0, noiseShare: 0, offset: 0, gain: 0, lagS: 0, step: 1 },
};

/** Kinds that read exactly zero when nothing flows. */
const zeroIsZero: ReadonlySet<Kind> = new Set(['power', 'current', 'voltage', 'flow', 'switch', 'energy']);

/** A glitch in noise standard deviations. */
const glitchSigmas = 40;

export class Instrument {
  readonly point: Point;
  /** Set by a fault: creeps away since then, canonical unit per day. */
  drift: { readonly sinceMs: number; readonly perDay: number } | null = null;
  /** Set by a fault: reads so much too high, canonical unit. */
  shift = 0;
  /** Set by a fault: repeats what it last read. */
  frozen = false;
  /** Set by a fault: sends nothing. */
  silent = false;
  /** Set by a fault: this share of its readings is off by up to `size` either way, canonical unit. */
  spikes: { readonly share: number; readonly size: number } | null = null;
  /** Share of readings that are off once in a blue moon, as with any sensor on a long cable; a messy world has some. */
  glitchShare = 0;
  readonly #measure: Measure;
  readonly #nature: Nature;
  readonly #convert: (canonical: number) => number;
  readonly #decimals: number;
  readonly #offset: number;
  readonly #gain: number;
  readonly #key: number;
  #felt: number | null = null;
  #feltMs = 0;
  #last: number | null = null;

  constructor(point: Point, measure: Measure, seed: number) {
    this.point = point;
    this.#measure = measure;
    this.#nature = natures[point.kind];
    this.#convert = toDeclared(point.kind, point.unit);
    this.#key = streamKey(seed, `instrument ${point.id}`);
    this.#offset = this.#nature.offset * normalAt(this.#key ^ 1, 0);
    this.#gain = 1 + this.#nature.gain * Math.max(-2, Math.min(2, normalAt(this.#key ^ 2, 0)));
    const stepDeclared = Math.abs(this.#convert(this.#nature.step) - this.#convert(0));
    this.#decimals = Math.max(0, Math.ceil(-Math.log10(stepDeclared) - 1e-9));
  }

  /** The true value, canonical unit. */
  get truth(): number {
    return this.#measure();
  }

  /** Standard deviation of one reading about the truth, canonical unit; the last digit sent counts for its share. */
  sigmaAt(value: number): number {
    return Math.hypot(this.#nature.noise + this.#nature.noiseShare * Math.abs(value), this.#nature.step / Math.sqrt(12));
  }

  /** The same in the declared unit, at the present truth. */
  get sigmaDeclared(): number {
    return Math.abs(this.#convert(this.sigmaAt(this.truth)) - this.#convert(0));
  }

  /** @returns the reading in the declared unit. */
  read(atMs: number): number {
    const reading = this.#read(atMs);
    if (this.frozen && this.#last !== null) return this.#last;
    this.#last = reading;
    return reading;
  }

  #read(atMs: number): number {
    const felt = this.#feel(atMs);
    const second = Math.floor(atMs / SECOND);
    const spike = this.#spike(second);
    if (felt === 0 && spike === 0 && zeroIsZero.has(this.point.kind)) return 0;
    const drifted = this.drift === null ? 0 : (this.drift.perDay * (atMs - this.drift.sinceMs)) / DAY;
    const spread = this.#nature.noise + this.#nature.noiseShare * Math.abs(felt);
    const noise = spread === 0 ? 0 : spread * normalAt(this.#key, second);
    const value = felt * this.#gain + this.#offset + drifted + this.shift + noise + spike;
    return Number(this.#convert(this.#bounded(value)).toFixed(this.#decimals));
  }

  #spike(second: number): number {
    const share = this.spikes?.share ?? this.glitchShare;
    if (share === 0 || this.point.kind === 'switch' || this.point.kind === 'energy' || uniformAt(this.#key ^ 3, second) >= share) return 0;
    const size = this.spikes?.size ?? glitchSigmas * this.sigmaAt(this.#felt ?? 0);
    return size * (uniformAt(this.#key ^ 4, second) < 0.5 ? -1 : 1) * (0.5 + 0.5 * uniformAt(this.#key ^ 5, second));
  }

  #feel(atMs: number): number {
    const truth = this.#measure();
    const { lagS } = this.#nature;
    if (lagS === 0 || this.#felt === null) this.#felt = truth;
    else this.#felt += (truth - this.#felt) * (1 - Math.exp(-(atMs - this.#feltMs) / SECOND / lagS));
    this.#feltMs = atMs;
    return this.#felt;
  }

  #bounded(value: number): number {
    return this.point.kind === 'temperature' ? value : Math.max(0, value);
  }
}
