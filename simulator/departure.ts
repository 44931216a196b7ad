/**
 * When a fault first shows in the readings at all, found by running its healthy twin (same fleet, seed, start and habits; so the same noise, the same visits
 * and the same lost messages) and comparing reading by reading. Four ways to depart:
 *
 *   missing     a reading does not arrive that arrived from the twin
 *   stamp       it carries another time
 *   value       it lies more than 3 σ from *everything* the twin read within a day before and after. Comparing with the twin's reading of the same second
 *               would call every thermostat that switches a minute later a departure; this asks for a value that a healthy tank does not show.
 *               σ: noise and last digit of the instrument, and for electrical points the wandering of the mains
 *   run length  it has stayed as it is (a switching point: on, or off; any other: the very same number) for a quarter longer than the twin ever does;
 *               or a run has ended that was less than half as long as the twin's shortest
 *
 * Two within two hours count, at the time of the first.
 */
import { DAY, HOUR, MINUTE } from '../src/domain/duration.ts';
import type { Kind } from '../src/domain/kinds.ts';
import type { Instrument } from './instruments/instrument.ts';
import type { Emission, Scenario } from './scenario.ts';
import { STEP_MS } from './world/world.ts';

export interface Departure {
  readonly atMs: number;
  readonly pointId: string;
  readonly how: 'missing' | 'stamp' | 'value' | 'run-length';
}

interface Track {
  readonly sentMs: number[];
  readonly stampMs: number[];
  readonly values: number[];
}

/** What was sent since a moment, point by point. */
export class Recording {
  readonly tracks = new Map<string, Track>();
  readonly #fromMs: number;

  constructor(fromMs: number) {
    this.#fromMs = fromMs;
  }

  take(sent: readonly Emission[]): void {
    for (const { atMs: sentMs, samples } of sent) {
      if (sentMs <= this.#fromMs) continue;
      for (const { pointId, atMs, value } of samples) {
        let track = this.tracks.get(pointId);
        if (track === undefined) this.tracks.set(pointId, (track = { sentMs: [], stampMs: [], values: [] }));
        track.sentMs.push(sentMs);
        track.stampMs.push(atMs);
        track.values.push(value);
      }
    }
  }

  /** Runs a scenario on and takes what it sends. */
  run(scenario: Scenario, toMs: number): this {
    scenario.skip(this.#fromMs);
    while (scenario.nowMs + STEP_MS <= toMs) this.take(scenario.advance(Math.min(toMs, scenario.nowMs + DAY / 4)));
    return this;
  }
}

/** A day before and after is looked at on the twin's side; what the ill one did before its fault began is the twin's own life. */
export const recordedFromMs = (beginMs: number): number => beginMs - DAY;

/** @param sick from `recordedFromMs` until `endMs`. @param twin at its start. */
export function firstDeparture({ tracks }: Recording, twin: Scenario, beginMs: number, endMs: number): Departure | null {
  const healthy = new Recording(recordedFromMs(beginMs)).run(twin, endMs + DAY);
  let earliest: Departure | null = null;
  for (const [pointId, track] of healthy.tracks) {
    const instrument = twin.instruments.get(pointId);
    if (instrument === undefined) continue;
    const found = departureOf(pointId, tracks.get(pointId) ?? { sentMs: [], stampMs: [], values: [] }, track, instrument, beginMs, endMs);
    if (found !== null && (earliest === null || found.atMs < earliest.atMs)) earliest = found;
  }
  return earliest;
}

const electrical: ReadonlySet<Kind> = new Set(['power', 'current']);
const TWICE_WITHIN_MS = 2 * HOUR;

/** A supply that wanders by 0.6 % moves a heater's draw by twice that. */
const MAINS_WANDER = 0.012;

function departureOf(pointId: string, sick: Track, healthy: Track, instrument: Instrument, beginMs: number, endMs: number): Departure | null {
  const runs = new RunLengths(healthy, instrument);
  const near = new Neighbourhood(healthy, instrument);
  const [sickRun, twinRun] = [new Run(), new Run()];
  let sickIndex = 0;
  let suspect: Departure | null = null;
  for (let index = 0; index < healthy.sentMs.length; index += 1) {
    const atMs = healthy.sentMs[index] ?? 0;
    if (atMs > endMs) break;
    twinRun.step(runs.stateOf(healthy.values[index] ?? Number.NaN), atMs);
    let how: Departure['how'] | null = null;
    let sinceMs = atMs;
    if (sick.sentMs[sickIndex] !== atMs) how = 'missing';
    else {
      const value = sick.values[sickIndex] ?? Number.NaN;
      if (Math.abs((sick.stampMs[sickIndex] ?? 0) - (healthy.stampMs[index] ?? 0)) > 5000) how = 'stamp';
      else if (near.isFar(atMs, value)) how = 'value';
      const ended = sickRun.step(runs.stateOf(value), atMs);
      // The twin's own runs are no departures, however they compare with each other.
      if (ended !== null && !twinRun.hadOneSince(ended.sinceMs) && runs.tooShort(ended.state, atMs - ended.sinceMs)) {
        how ??= 'run-length';
        sinceMs = ended.sinceMs;
      }
      if (!twinRun.isSince(sickRun.sinceMs) && runs.tooLong(sickRun.state, atMs - sickRun.sinceMs)) how ??= 'run-length';
      sickIndex += 1;
    }
    if (how === null || atMs <= beginMs) continue;
    if (suspect !== null && atMs - suspect.atMs <= TWICE_WITHIN_MS) return suspect;
    suspect = { atMs: Math.max(beginMs, sinceMs), pointId, how };
  }
  return null;
}

/** A state and since when; the one before it. */
class Run {
  state = Number.NaN;
  sinceMs = Number.NaN;
  #beforeMs = Number.NaN;

  /** @returns the run that has ended, if one has. */
  step(state: number, atMs: number): { readonly state: number; readonly sinceMs: number } | null {
    if (state === this.state) return null;
    const ended = Number.isNaN(this.state) ? null : { state: this.state, sinceMs: this.sinceMs };
    this.#beforeMs = this.sinceMs;
    this.state = state;
    this.sinceMs = atMs;
    return ended;
  }

  isSince(sinceMs: number): boolean {
    return this.sinceMs === sinceMs;
  }

  /** The one that runs or the one before it began then. */
  hadOneSince(sinceMs: number): boolean {
    return this.sinceMs === sinceMs || this.#beforeMs === sinceMs;
  }
}

/**
 * How long the twin stays in a state: on or off for a switching point, its very value for any other. The first and the last run are counted as far as
 * they are seen, which makes the shortest no longer than it is; that the longest may be longer is why the twin's own runs are left out above.
 */
class RunLengths {
  readonly #switching: boolean;
  readonly #onAbove: number;
  readonly #longestMs = new Map<number, number>();
  readonly #shortestMs = new Map<number, number>();
  readonly #slackMs: number;

  constructor(track: Track, instrument: Instrument) {
    const { kind, everyMs } = instrument.point;
    this.#slackMs = 2 * everyMs + MINUTE;
    this.#switching = kind === 'switch' || electrical.has(kind);
    this.#onAbove = 0.1 * track.values.reduce((most, value) => Math.max(most, value), 0);
    let state: number | null = null;
    let sinceMs = 0;
    track.values.forEach((value, index) => {
      const now = this.stateOf(value);
      const atMs = track.sentMs[index] ?? 0;
      if (state === null || now !== state) {
        if (state !== null) this.#count(state, atMs - sinceMs);
        state = now;
        sinceMs = atMs;
      }
    });
    if (state !== null) this.#count(state, (track.sentMs.at(-1) ?? 0) - sinceMs);
  }

  stateOf(value: number): number {
    return this.#switching ? Number(value > this.#onAbove) : value;
  }

  tooLong(state: number, lastsMs: number): boolean {
    const longestMs = this.#longestMs.get(this.#switching ? state : 0);
    return longestMs !== undefined && lastsMs > 1.25 * longestMs + this.#slackMs;
  }

  tooShort(state: number, lastsMs: number): boolean {
    const shortestMs = this.#switching ? this.#shortestMs.get(state) : undefined;
    return shortestMs !== undefined && lastsMs + this.#slackMs < 0.5 * shortestMs;
  }

  #count(state: number, lastsMs: number): void {
    const key = this.#switching ? state : 0;
    this.#longestMs.set(key, Math.max(this.#longestMs.get(key) ?? 0, lastsMs));
    this.#shortestMs.set(key, Math.min(this.#shortestMs.get(key) ?? Number.POSITIVE_INFINITY, lastsMs));
  }
}

/** What the twin read within a day of a moment, in bins of 3 σ: a value is far when neither its bin nor one beside it was seen. */
class Neighbourhood {
  readonly #track: Track;
  readonly #binOf: (value: number) => number;
  readonly #bins = new Map<number, number>();
  #from = 0;
  #to = 0;

  constructor(track: Track, instrument: Instrument) {
    this.#track = track;
    const share = electrical.has(instrument.point.kind) ? 3 * MAINS_WANDER : 0;
    const width = 3 * instrument.sigmaDeclared;
    // Bins that grow with the value where the noise does: equal steps of its logarithm beyond `width / share`.
    if (instrument.point.kind === 'switch') this.#binOf = (value) => 3 * value;
    else this.#binOf = share === 0
      ? (value) => Math.floor(value / width)
      : (value) => Math.floor(Math.asinh((value * share) / width) / share);
  }

  /** Times must not go back. */
  isFar(atMs: number, value: number): boolean {
    const { sentMs, values } = this.#track;
    for (; this.#to < sentMs.length && (sentMs[this.#to] ?? 0) <= atMs + DAY; this.#to += 1) this.#add(values[this.#to] ?? 0, 1);
    for (; this.#from < this.#to && (sentMs[this.#from] ?? 0) < atMs - DAY; this.#from += 1) this.#add(values[this.#from] ?? 0, -1);
    const bin = this.#binOf(value);
    return !this.#bins.has(bin) && !this.#bins.has(bin - 1) && !this.#bins.has(bin + 1);
  }

  #add(value: number, count: number): void {
    const bin = this.#binOf(value);
    const total = (this.#bins.get(bin) ?? 0) + count;
    if (total > 0) this.#bins.set(bin, total);
    else this.#bins.delete(bin);
  }
}
