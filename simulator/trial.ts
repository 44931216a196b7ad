/**
 * One trial: a tank that lives a messy but healthy life, and (unless the trial is of health itself) one fault that begins when it has lived for a while.
 * What happens when is the truth that rules are scored against. The same options give the same readings.
 */
import { DAY, HOUR } from '../src/domain/duration.ts';
import type { Fleet } from '../src/domain/fleet.ts';
import { type Departure, firstDeparture, recordedFromMs, Recording } from './departure.ts';
import { faultKind } from './faults/all.ts';
import type { Fault, FaultKind } from './faults/fault.ts';
import { namedBy } from './faults/named-by.ts';
import { chanceOf, Target } from './faults/target.ts';
import { streamKey, uniformAt } from './random.ts';
import { type EmittedSample, makeScenario, type Scenario } from './scenario.ts';
import { listed, nothingHappens, type Timetable } from './timetable.ts';
import type { Happening } from './world/life.ts';
import type { Habits } from './world/world.ts';

export interface TrialOptions {
  /** As read from the fleet file of a kind of tank (`tank-kinds.ts`); any other fleet will do. */
  readonly fleet: Fleet;
  readonly seed: number;
  /** Name of a fault (`faults/all.ts`); `null`: a healthy life. */
  readonly fault: string | null;
  /** The tank it happens to; default: the first of the fleet. */
  readonly tankId?: string;
  /** Healthy life before the fault begins, so that whoever watches can learn. Default ten days. */
  readonly settleMs?: number;
  /** Watched after that. Default: what the fault needs to show; thirty days for a healthy life. */
  readonly watchMs?: number;
  /** Default: within a year from 2026, at a time drawn from the seed, in the season of the fault. */
  readonly startMs?: number;
  readonly habits?: Habits;
}

export interface Truth {
  readonly name: string;
  readonly does: string;
  readonly params: Fault['params'];
  readonly gradual: boolean;
  readonly beginMs: number;
  /** Any of these rule kinds names it rightly. */
  readonly names: readonly string[];
}

export interface Trial {
  readonly options: TrialOptions;
  readonly tankId: string;
  readonly startMs: number;
  readonly endMs: number;
  /** `null`: nothing is wrong. */
  readonly truth: Truth | null;
  /** The trial from its beginning. Each call runs it anew. */
  run(): TrialRun;
  /** By running the healthy twin beside it; `null`: it never departs, or there is nothing to depart. */
  departure(): Departure | null;
}

export interface TrialRun {
  readonly scenario: Scenario;
  /** Visits, feedings and refills planned so far. */
  readonly happenings: readonly Happening[];
  /** In order of arrival, a slice of the trial at a time. */
  slices(sliceMs?: number): Iterable<readonly Arrival[]>;
  /** As that of the trial, of a run that has come to its end: only the twin is run. */
  departure(): Departure | null;
}

/** What arrives together: one message. */
export interface Arrival {
  readonly arrivedMs: number;
  readonly samples: readonly EmittedSample[];
}

const SETTLE_MS = 10 * DAY;
const HEALTHY_MS = 30 * DAY;
const YEAR_MS = Date.UTC(2026, 0, 1);
/** First day and length of the part of the year in which a season is at its height. */
const seasons: Readonly<Record<FaultKind['season'], readonly [number, number]>> = { any: [0, 365], winter: [0, 50], summer: [172, 50] };

/** @returns `null` when the tank has nothing this fault could happen to. @throws Error for a fault or a tank that does not exist. */
export function makeTrial(options: TrialOptions): Trial | null {
  const { fleet, seed, habits = 'messy', settleMs = SETTLE_MS } = options;
  const tankId = options.tankId ?? fleet.tanks[0]?.id ?? '';
  const target = new Target(fleet, tankId);
  const kind = options.fault === null ? null : faultKind(options.fault);
  // Another kind of tank is another place and another time, although the seed is the same.
  const own = streamKey(seed, `trial of ${target.tank.name}`);
  if (kind !== null && kind.plan(target, chanceOf(own, kind.name)) === null) return null;
  const beginMs = options.startMs === undefined ? drawnBegin(own, kind) : wholeSecond(options.startMs + settleMs);
  const startMs = beginMs - settleMs;
  const endMs = beginMs + (options.watchMs ?? kind?.watchMs ?? HEALTHY_MS);

  // A fault remembers what it has done: each run gets its own.
  const plan = (): Fault | null => kind?.plan(target, chanceOf(own, kind.name)) ?? null;
  const start = (timetable: Timetable): Scenario => makeScenario({ fleet, seed: own, startMs, habits, timetable });
  const ill = (): Scenario => {
    const fault = plan();
    return start(fault === null ? nothingHappens : listed([{ fault, beginMs, endMs: null }]));
  };
  const departureOf = (sent: Recording): Departure | null => (kind === null ? null : firstDeparture(sent, start(nothingHappens), beginMs, endMs));
  const fault = plan();
  return {
    options, tankId, startMs, endMs,
    truth: kind === null || fault === null ? null : { name: kind.name, does: fault.does, params: fault.params, gradual: kind.gradual, beginMs, names: namedBy[kind.name] ?? [] },
    run() {
      const scenario = ill();
      const sent = new Recording(recordedFromMs(beginMs));
      return {
        scenario,
        happenings: scenario.world.happenings,
        *slices(sliceMs = HOUR) {
          while (scenario.nowMs < endMs) {
            const toMs = Math.min(endMs, scenario.nowMs + sliceMs);
            const emitted = scenario.advance(toMs);
            if (kind !== null) sent.take(emitted);
            yield emitted.map(({ atMs, samples }) => ({ arrivedMs: atMs, samples }));
            if (scenario.nowMs < toMs) return;
          }
        },
        departure: () => departureOf(sent),
      };
    },
    departure: () => (kind === null ? null : departureOf(new Recording(recordedFromMs(beginMs)).run(ill(), endMs))),
  };
}

/** Begins on a day of the season, at any hour. */
function drawnBegin(seed: number, kind: FaultKind | null): number {
  const key = streamKey(seed, `begin ${kind?.name ?? 'health'}`);
  const [firstDay, days] = seasons[kind?.season ?? 'any'];
  return wholeSecond(YEAR_MS + (firstDay + days * uniformAt(key, 1)) * DAY);
}

const wholeSecond = (atMs: number): number => Math.floor(atMs / 10_000) * 10_000;
