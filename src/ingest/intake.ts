/**
 * From samples to readings: whose point, which unit, what time, is it possible. The last place where input can be refused;
 * a refusal says what to send instead and takes nothing else down. No I/O; remembers the last stamp of each series, and what it knows of the clock of each source.
 */
import type { Fleet, Point } from '../domain/fleet.ts';
import { kinds } from '../domain/kinds.ts';
import { Quality, type Reading, type Refusal, type Sample, type SeriesId } from '../domain/reading.ts';
import type { ClockState, SourceClock } from '../domain/source-clock.ts';
import { converter, kindsFor, switchValue, unitsOf } from '../domain/units.ts';
import { clockBoundMs, Lags, stepClock } from './source-clock.ts';

/** A source's clock may run ahead by this much before its stamps are refused. */
export const aheadBoundMs = clockBoundMs;
/** Stamps before 2000-01-01 come from a clock that was never set. */
export const unsetClockMs = Date.UTC(2000, 0, 1);

interface Lane {
  readonly point: Point;
  readonly series: SeriesId;
  readonly convert: (value: number) => number;
  readonly low: number;
  readonly high: number;
  lastStampMs: number;
  readonly clock: ClockLane;
}

/** The points of one topic share a clock. */
interface ClockLane {
  readonly source: string;
  readonly point: Point;
  readonly lags: Lags;
  state: ClockState | null;
}

export interface ClockStep {
  readonly source: string;
  readonly point: Point;
  readonly before: ClockState | null;
  readonly after: ClockState | null;
}

export class Intake {
  readonly #lanes = new Map<string, Lane>();
  readonly #clocks = new Map<string, ClockLane>();
  /** Clocks that changed since they were last taken from here. */
  readonly clockSteps: ClockStep[] = [];

  /** @throws Error when a point's unit does not fit its kind: the fleet check has been skipped. */
  constructor(fleet: Fleet, series: ReadonlyMap<string, SeriesId>, lastStampMs: ReadonlyMap<SeriesId, number>, clocks: ReadonlyMap<string, ClockState> = new Map()) {
    for (const point of fleet.points) {
      const id = series.get(point.id);
      const convert = converter(point.kind, point.unit);
      if (id === undefined || convert === null) throw new Error(`point ${point.id}: ${id === undefined ? 'no series' : `unit ${point.unit} does not fit ${point.kind}`}`);
      const [low, high] = kinds[point.kind].range;
      const source = point.source?.topic ?? point.id;
      const clock = this.#clocks.get(source) ?? { source, point, lags: new Lags(), state: clocks.get(source) ?? null };
      this.#clocks.set(source, clock);
      this.#lanes.set(point.id, { clock, point, series: id, convert, low, high, lastStampMs: lastStampMs.get(id) ?? Number.NEGATIVE_INFINITY });
    }
  }

  /** What is known of the clock of a point's source; `null`: nothing against it. */
  clockOf(pointId: string): ClockState | null {
    return this.#lanes.get(pointId)?.clock.state ?? null;
  }

  /** Every source that has sent stamps, or whose clock was wrong before the start. */
  clocks(): readonly SourceClock[] {
    return [...this.#clocks.values()].flatMap(({ source, point, lags, state }) => {
      const behindMs = lags.medianMs;
      const wrongSinceMs = state?.wrongSinceMs ?? null;
      return behindMs === null && wrongSinceMs === null ? [] : [{ source, siteId: point.siteId, behindMs, wrongSinceMs }];
    });
  }

  /**
   * @param fromFile the stamps are those of a file: what they say of now is not about a clock.
   * @returns the reading, stamped and flagged, or why it is refused.
   */
  take(sample: Sample, arrivedMs: number, fromFile = false): Reading | Refusal {
    const lane = this.#lanes.get(sample.pointId);
    if (lane === undefined) return refuse(sample, `there is no point "${sample.pointId}" in the fleet`);
    const value = valueOf(lane, sample);
    if (typeof value !== 'number') return value;

    if (sample.historical) return historyOf(lane, sample, value, arrivedMs);
    let quality = value < lane.low || value > lane.high ? Quality.outOfRange : Quality.good;
    let atMs = sample.atMs;
    if (atMs === null) {
      quality |= Quality.stampedOnArrival;
    } else if (!fromFile && this.#isWrong(lane, atMs, arrivedMs)) {
      quality |= Quality.clockRefused;
      atMs = null;
    } else if (!Number.isSafeInteger(atMs) || atMs > arrivedMs + aheadBoundMs || atMs < unsetClockMs) {
      quality |= Quality.clockRefused;
      atMs = null;
    }
    const stampMs = atMs ?? arrivalStamp(lane, arrivedMs);
    if (stampMs > lane.lastStampMs) lane.lastStampMs = stampMs;
    return { series: lane.series, atMs: stampMs, value, quality };
  }

  #isWrong({ clock, point }: Lane, atMs: number, arrivedMs: number): boolean {
    const lagMs = arrivedMs - atMs;
    if (!Number.isSafeInteger(lagMs)) return false;
    clock.lags.add(lagMs);
    // By far the most frequent case.
    if (clock.state === null && lagMs <= clockBoundMs && lagMs >= -clockBoundMs) return false;
    const before = clock.state;
    const after = stepClock(before, arrivedMs, lagMs, point.everyMs);
    if (after !== before) {
      clock.state = after;
      this.clockSteps.push({ source: clock.source, point, before, after });
    }
    return after?.wrongSinceMs != null;
  }
}

/** History says nothing of now: neither does its time, so that later readings without a time are stamped as if it had not come. */
function historyOf(lane: Lane, sample: Sample, value: number, arrivedMs: number): Reading | Refusal {
  const { atMs } = sample;
  if (atMs === null || !Number.isSafeInteger(atMs) || atMs > arrivedMs + aheadBoundMs || atMs < unsetClockMs) {
    return refuse(sample, `a reading was sent as history ${atMs === null ? 'without a time' : 'with a time that cannot be true'}; send it with the time of its measurement`);
  }
  return { series: lane.series, atMs, value, quality: Quality.history | (value < lane.low || value > lane.high ? Quality.outOfRange : Quality.good) };
}

export const isRefusal = (taken: Reading | Refusal): taken is Refusal => 'reason' in taken;

/** A value of a point in canonical unit, from a text or number and its unit; shared with the CSV import. */
export function canonicalValue(point: Point, value: number | boolean | string, unit: string | null): number | { readonly wrong: string } {
  const { kind } = point;
  if (kind === 'switch') {
    const on = typeof value === 'boolean' ? Number(value) : typeof value === 'string' ? switchValue(value) : value;
    return on === 0 || on === 1 ? on : { wrong: `${JSON.stringify(value)} is neither on nor off; send on/off, true/false or 1/0` };
  }
  if (typeof value !== 'number') return { wrong: `${JSON.stringify(value)} is no number, and ${point.id} is a ${kinds[kind].name}` };
  if (!Number.isFinite(value)) return { wrong: `${value} is no value; leave it out when nothing was measured` };
  const convert = converter(kind, unit ?? point.unit);
  if (convert === null) {
    const others = kindsFor(unit ?? '');
    return { wrong: `unit "${unit}" does not fit a ${kinds[kind].name}; it takes ${unitsOf(kind).join(', ')}${others.length > 0 ? ` ("${unit}" fits ${others.join(', ')})` : ''}` };
  }
  const converted = convert(value);
  return Number.isFinite(converted) ? converted : { wrong: `${value} ${unit ?? point.unit ?? ''} is too large to be a value` };
}

function valueOf(lane: Lane, sample: Sample): number | Refusal {
  // The common case first: a plain number in the declared unit.
  if (typeof sample.value === 'number' && sample.unit === null && lane.point.kind !== 'switch') {
    const value = lane.convert(sample.value);
    // Finite in kW may be none in W. What is no number can never be stored, and a batch that can never be stored would end the process.
    if (Number.isFinite(value)) return value;
  }
  const value = canonicalValue(lane.point, sample.value, sample.unit);
  return typeof value === 'number' ? value : refuse(sample, value.wrong);
}

/**
 * A reading stamped here carries no more than whole seconds of truth; a second one within the same second keeps its
 * milliseconds, so that it is not taken for a repetition.
 */
function arrivalStamp(lane: Lane, arrivedMs: number): number {
  const second = Math.floor(arrivedMs / 1000) * 1000;
  return second > lane.lastStampMs ? second : Math.max(arrivedMs, lane.lastStampMs + 1);
}

function refuse(sample: Sample, reason: string): Refusal {
  return { source: sample.pointId, pointId: sample.pointId, reason, excerpt: String(sample.value).slice(0, 120) };
}
