/**
 * A year of a tank of twenty points, each read once a minute: four weeks of the simulator's messy but healthy life, over and over, sealed by the day as the
 * store seals them. And its replay: every day decoded, its readings put into the order of time, and each taken through intake, all rules and alarms.
 */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { loadFormats } from '../../adapters/load.ts';
import { makeScenario } from '../../simulator/scenario.ts';
import { readFleet } from '../../src/config/fleet-file.ts';
import { DAY } from '../../src/domain/duration.ts';
import type { Fleet } from '../../src/domain/fleet.ts';
import type { Sample } from '../../src/domain/reading.ts';
import { BatchBuilder } from '../../src/engine/batch.ts';
import { Watch } from '../../src/engine/watch.ts';
import { compileRules } from '../../src/rules/compile.ts';
import type { Rule } from '../../src/rules/contract.ts';
import { loadRuleKinds } from '../../src/rules/load.ts';
import { type Columns, dayOf, decodeDay, encodeDay } from '../../src/store/codec.ts';
import type { LiveState } from '../../src/store/contract.ts';

export const startMs = Date.UTC(2026, 0, 1);
const simulatedDays = 28;
const seed = 7;

export interface BenchTank {
  readonly fleet: Fleet;
  readonly rules: readonly Rule[];
}

export interface Message {
  readonly text: string;
  readonly atMs: number;
  readonly samples: readonly Sample[];
}

export async function benchTank(): Promise<BenchTank> {
  const file = join(import.meta.dirname, 'twenty-points.yaml');
  const [kinds, formats] = await Promise.all([loadRuleKinds(), loadFormats()]);
  const read = readFleet(readFileSync(file, 'utf8'), file, { kinds, formats, broker: 'embedded' });
  if ('mistakes' in read) throw new Error(JSON.stringify(read.mistakes));
  return { fleet: read.fleet, rules: compileRules(read.fleet, kinds) };
}

/** What the site sends, in order of time. */
export function messagesOf(fleet: Fleet, days: number): readonly Message[] {
  const scenario = makeScenario({ fleet, seed, startMs, habits: 'messy' });
  return scenario.advance(startMs + days * DAY).map(({ payload, atMs, samples }) => ({ text: String(payload), atMs, samples: samples.map((sample) => ({ ...sample, unit: null })) }));
}

/** One point's sealed days, oldest first. */
interface SealedPoint {
  readonly pointId: string;
  readonly series: number;
  readonly days: readonly Uint8Array[];
}

export interface TankYear {
  readonly readings: number;
  readonly points: readonly SealedPoint[];
}

export function sealYear(fleet: Fleet, days: number): TankYear {
  const columns = new Map(fleet.points.map(({ id }) => [id, Array.from({ length: simulatedDays }, () => ({ atMs: [] as number[], value: [] as number[] }))]));
  for (const { samples } of messagesOf(fleet, Math.min(days, simulatedDays))) {
    for (const { pointId, atMs, value } of samples) {
      const day = columns.get(pointId)?.[dayOf((atMs ?? 0) - startMs)];
      if (day === undefined || typeof value !== 'number' || atMs === null) continue;
      day.atMs.push(atMs);
      day.value.push(value);
    }
  }
  let readings = 0;
  const points = fleet.points.map(({ id }, index): SealedPoint => ({
    pointId: id, series: index + 1,
    days: Array.from({ length: days }, (_, number) => {
      const { atMs = [], value = [] } = columns.get(id)?.[number % simulatedDays] ?? {};
      readings += atMs.length;
      const laterMs = Math.floor(number / simulatedDays) * simulatedDays * DAY;
      return encodeDay(index + 1, dayOf(startMs) + number, { atMs: Float64Array.from(atMs, (at) => at + laterMs), value: Float64Array.from(value), quality: new Float64Array(atMs.length) });
    }),
  }));
  return { readings, points };
}

/** @returns how many readings there were. */
export function decodeYear({ points }: TankYear): number {
  let readings = 0;
  eachDay(points, (columns) => {
    for (const { atMs } of columns) readings += atMs.length;
  });
  return readings;
}

/** @returns how many alarms opened. */
export function replayYear({ points }: TankYear, { fleet, rules }: BenchTank): number {
  const replay = new Replay(fleet, rules);
  eachDay(points, (columns) => replay.day(points, columns));
  return replay.opened.size;
}

function eachDay(points: readonly SealedPoint[], take: (columns: readonly Columns[]) => void): void {
  const days = points[0]?.days.length ?? 0;
  for (let day = 0; day < days; day += 1) take(points.map(({ series, days: of }) => decodeDay(series, dayOf(startMs) + day, of[day] ?? new Uint8Array())));
}

const nothing: LiveState = { ruleStates: [], pointStates: [], statuses: [], openAlarms: [], latest: new Map(), lastStampMs: new Map(), nextAlarmId: 1, clocks: new Map(), calibrations: [], outages: [], aliveMs: null };

/** Readings are in the store already: only what is decided is kept. */
class Decided extends BatchBuilder {
  override reading(): void {
    // Nothing to store.
  }
}

/** A tank watched from its first reading on, without a store. */
export class Replay {
  readonly opened = new Set<number>();
  readonly #watch: Watch;
  #into = new Decided();

  constructor(fleet: Fleet, rules: readonly Rule[]) {
    this.#watch = new Watch(fleet, rules, new Map(fleet.points.map(({ id }, index) => [id, index + 1])), nothing);
    this.#watch.start(nothing, startMs, this.#into);
  }

  take(sample: Sample, arrivedMs: number): void {
    this.#watch.advance(arrivedMs, this.#into);
    this.#watch.sample(sample, arrivedMs, this.#into);
  }

  day(points: readonly SealedPoint[], columns: readonly Columns[]): void {
    const next = new Uint32Array(columns.length);
    const dueMs = Float64Array.from(columns, ({ atMs }) => atMs[0] ?? Number.POSITIVE_INFINITY);
    for (;;) {
      let first = 0;
      for (let lane = 1; lane < dueMs.length; lane += 1) if ((dueMs[lane] ?? 0) < (dueMs[first] ?? 0)) first = lane;
      const atMs = dueMs[first] ?? Number.POSITIVE_INFINITY;
      const [point, column] = [points[first], columns[first]];
      if (atMs === Number.POSITIVE_INFINITY || point === undefined || column === undefined) break;
      const index = next[first] ?? 0;
      this.take({ pointId: point.pointId, atMs, value: column.value[index] ?? Number.NaN, unit: null }, atMs);
      next[first] = index + 1;
      dueMs[first] = column.atMs[index + 1] ?? Number.POSITIVE_INFINITY;
    }
    this.settle();
  }

  /** Lets go of what was decided. */
  settle(): void {
    for (const { id } of this.#into.build(0).alarms) this.opened.add(id);
    this.#into = new Decided();
  }
}
