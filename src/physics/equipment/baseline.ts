/**
 * What is normal for a piece of equipment: its draw when on, how long it runs and rests, what share of the time it is on. Learnt from its own power readings
 * while it is healthy, frozen as soon as something is in doubt, learnt afresh after parts were changed.
 *
 * Method. Hour by hour: the median of what was drawn while on (starting currents left out) joins the sample of normal draws, at first each hour, later
 * one in six, the last 48 kept. Normal is their median, its scatter 1.4826 · MAD, but never less than what a plug meter tells apart (2 % and
 * 1 W; common practice: ± 1–2 %). Against it run an EWMA (what it draws of late) and a CUSUM (does a small shift last?). An hour that lies beyond 4 of
 * those standard deviations, or a CUSUM that has decided, freezes learning: what is odd never becomes normal by itself.
 *
 * State is plain JSON of at most 2 kB; it changes at most once a minute and where the equipment switches. Times in ms, draws in W.
 */
import { DAY, HOUR, MINUTE } from '../../domain/duration.ts';
import { type Cusum, cusum, cusumStart, shifted } from '../statistics/cusum.ts';
import { ewma, weightOf } from '../statistics/ewma.ts';
import { mad, MAD_TO_SIGMA, median, quantile } from '../statistics/median.ts';

export interface EquipmentMemory {
  /** Learning since: the first reading, or the change of parts. */
  readonly sinceMs: number | null;
  /** The last reading. */
  readonly last: { readonly atMs: number; readonly on: boolean } | null;
  /** When it last switched; `null`: not seen yet. */
  readonly switchedMs: number | null;
  readonly runs: Lengths;
  readonly rests: Lengths;
  /** When it last started, oldest first. */
  readonly startsMs: readonly number[];
  readonly hour: Hour | null;
  /** Normal draws, W, oldest first; and how many were taken in all. */
  readonly draws: readonly number[];
  readonly taken: number;
  /** Draw of late, W. */
  readonly recentWatts: number | null;
  /** In standard deviations of the normal draw. */
  readonly sums: Cusum;
  /** Shares of the time of whole days, %, oldest first; and of the day that is running. */
  readonly dutiesPercent: readonly number[];
  readonly day: { readonly fromMs: number; readonly onMs: number; readonly seenMs: number } | null;
}

/** Lengths of runs, or of rests, min, oldest first: the last ones, and one in four hours that counts as usual. */
interface Lengths {
  readonly lastMin: readonly number[];
  readonly usualMin: readonly number[];
  readonly takenMs: number | null;
}

interface Hour {
  readonly fromMs: number;
  /** Draws while on, at most 30, evenly taken. */
  readonly watts: readonly number[];
  readonly count: number;
  readonly healthy: boolean;
}

const noLengths: Lengths = { lastMin: [], usualMin: [], takenMs: null };

export const equipmentStart: EquipmentMemory = {
  sinceMs: null, last: null, switchedMs: null, runs: noLengths, rests: noLengths, startsMs: [], hour: null, draws: [], taken: 0, recentWatts: null, sums: cusumStart,
  dutiesPercent: [], day: null,
};

export interface EquipmentReading {
  readonly atMs: number;
  readonly watts: number;
  /** No alarm on this piece, nobody at work on it: only then is anything learnt. */
  readonly healthy: boolean;
}

export interface EquipmentFacts {
  /** On from so many W; between this and nothing it is standing by. */
  readonly onWatts: number;
  /** Parts were last changed; what was learnt before is forgotten. */
  readonly partsChangedMs: number | null;
}

const DRAWS_KEPT = 48;
const DRAWS_NEEDED = 12;
const LATER_EVERY = 6;
const LAST_CYCLES = 6;
const CYCLES_KEPT = 24;
const CYCLES_NEEDED = 4;
const CYCLE_EVERY_MS = 4 * HOUR;
/** A length enters as at most so many times, or so few of, the usual: seasons are followed within weeks, a fault of some days is not. */
const CYCLE_STEP = 1.25;
const STARTS_KEPT = 24;
const DAYS_KEPT = 14;
const WATTS_PER_HOUR = 30;
/** A reading sooner after the last one is passed over, unless the equipment has switched. */
const EVERY_MS = MINUTE;
const GAP_MS = 10 * MINUTE;
/** A motor draws several times its running current at the start. */
const START_MS = 15_000;
const RECENT_MS = 6 * HOUR;
const METER_SHARE = 0.02;
const METER_WATTS = 1;
const FREEZE_SIGMAS = 4;
/** Slack and decision: shifts of 2 standard deviations that last half a day; hours are alike, so wider than the book's 0.5 and 5. */
const SLACK = 1;
const DECISION = 10;

/** One reading; older ones than the last change nothing. */
export function rememberDraw(before: EquipmentMemory, reading: EquipmentReading, facts: EquipmentFacts): EquipmentMemory {
  const { partsChangedMs, onWatts } = facts;
  const { atMs, watts, healthy } = reading;
  if (before.last !== null && atMs <= before.last.atMs) return before;
  const outdated = partsChangedMs !== null && before.sinceMs !== null && before.sinceMs < partsChangedMs && atMs >= partsChangedMs;
  const memory = outdated ? equipmentStart : before;
  const on = watts >= onWatts;
  const { last } = memory;
  if (last !== null && on === last.on && atMs - last.atMs < EVERY_MS && (healthy || memory.hour?.healthy === false)) return memory;
  const switched = cycle(counted(memory, atMs), atMs, on, healthy);
  const fresh = on && (switched.switchedMs === null || atMs - switched.switchedMs >= START_MS);
  return { ...hourly(switched, { atMs, watts, healthy }, fresh), sinceMs: memory.sinceMs ?? atMs, last: { atMs, on } };
}

export interface NormalDraw {
  readonly watts: number;
  /** Standard deviation, not below what the meter tells apart. */
  readonly sigmaWatts: number;
}

/** `null`: not learnt yet (twelve hours with the equipment on are needed). */
export function normalDraw({ draws }: EquipmentMemory): NormalDraw | null {
  if (draws.length < DRAWS_NEEDED) return null;
  const known = normalOf.get(draws);
  if (known !== undefined) return known;
  const watts = median(draws);
  if (watts === null) return null;
  const normal = { watts, sigmaWatts: Math.max(MAD_TO_SIGMA * (mad(draws) ?? 0), METER_SHARE * watts, METER_WATTS) };
  normalOf.set(draws, normal);
  return normal;
}

/** By the list itself, which never changes: asked for with every reading, another one every few hours. */
const normalOf = new WeakMap<readonly number[], NormalDraw>();

export interface Shift {
  readonly direction: 'up' | 'down';
  readonly recentWatts: number;
  readonly normal: NormalDraw;
  /** How far what it draws of late lies from normal. */
  readonly sigmas: number;
}

/** A draw that has left normal for hours; `null`: it has not, or normal is not known. */
export function drawShift(memory: EquipmentMemory): Shift | null {
  const normal = normalDraw(memory);
  const direction = shifted(memory.sums, DECISION);
  if (normal === null || direction === null || memory.recentWatts === null) return null;
  return { direction, recentWatts: memory.recentWatts, normal, sigmas: (memory.recentWatts - normal.watts) / normal.sigmaWatts };
}

/** Is learning frozen because something is odd? */
export function isFrozen(memory: EquipmentMemory): boolean {
  return shifted(memory.sums, DECISION) !== null;
}

export interface Cycle {
  /** Median, and the tenth and ninetieth of a hundred, min. */
  readonly runMin: Spread;
  readonly restMin: Spread;
}

interface Spread {
  readonly low: number;
  readonly usual: number;
  readonly high: number;
}

/** How it usually switches; `null`: not seen often enough. */
export function usualCycle({ runs, rests }: EquipmentMemory): Cycle | null {
  return cycleOf(runs.usualMin, rests.usualMin);
}

/** How it switched the last six times; `null`: not seen often enough. */
export function recentCycle({ runs, rests }: EquipmentMemory): Cycle | null {
  return cycleOf(runs.lastMin, rests.lastMin);
}

function cycleOf(runs: readonly number[], rests: readonly number[]): Cycle | null {
  const runMin = spreadOf(runs);
  const restMin = spreadOf(rests);
  return runMin === null || restMin === null ? null : { runMin, restMin };
}

/** Starts in the time before `nowMs`, as far as they are kept (24). */
export function startsWithin({ startsMs }: EquipmentMemory, nowMs: number, spanMs: number): number {
  return startsMs.filter((atMs) => atMs > nowMs - spanMs && atMs <= nowMs).length;
}

/** Usual share of a day, %, and how it scatters; `null`: fewer than three whole days. */
export function usualDuty({ dutiesPercent }: EquipmentMemory): { readonly percent: number; readonly sigma: number } | null {
  const percent = median(dutiesPercent);
  return percent === null || dutiesPercent.length < 3 ? null : { percent, sigma: MAD_TO_SIGMA * (mad(dutiesPercent) ?? 0) };
}

/** Duty of the day: what was on from the last reading until now counts, unless it was silent. */
function counted(memory: EquipmentMemory, atMs: number): EquipmentMemory {
  const fromMs = Math.floor(atMs / DAY) * DAY;
  const { last, day } = memory;
  if (last === null || day === null) return { ...memory, day: { fromMs, onMs: 0, seenMs: 0 } };
  const untilMs = Math.min(atMs, day.fromMs + DAY);
  const seen = atMs - last.atMs <= GAP_MS ? Math.max(0, untilMs - last.atMs) : 0;
  const counting = { ...day, seenMs: day.seenMs + seen, onMs: day.onMs + (last.on ? seen : 0) };
  if (fromMs === day.fromMs) return { ...memory, day: counting };
  const whole = counting.seenMs >= 0.9 * DAY;
  const carried = atMs - last.atMs <= GAP_MS ? atMs - fromMs : 0;
  return {
    ...memory,
    dutiesPercent: whole ? pushed(memory.dutiesPercent, round((100 * counting.onMs) / counting.seenMs), DAYS_KEPT) : memory.dutiesPercent,
    day: { fromMs, seenMs: carried, onMs: last.on ? carried : 0 },
  };
}

/** Runs and rests. After a silence nobody knows how long the present one has lasted. */
function cycle(memory: EquipmentMemory, atMs: number, on: boolean, healthy: boolean): EquipmentMemory {
  const { last, switchedMs } = memory;
  if (last === null) return memory;
  if (atMs - last.atMs > GAP_MS) return { ...memory, switchedMs: null };
  if (on === last.on) return memory;
  const startsMs = on ? pushed(memory.startsMs, atMs, STARTS_KEPT) : memory.startsMs;
  const ended = { ...memory, startsMs, switchedMs: atMs };
  if (switchedMs === null) return ended;
  const minutes = round((atMs - switchedMs) / MINUTE);
  return last.on ? { ...ended, runs: lasted(memory.runs, minutes, atMs, healthy) } : { ...ended, rests: lasted(memory.rests, minutes, atMs, healthy) };
}

function lasted({ lastMin, usualMin, takenMs }: Lengths, minutes: number, atMs: number, healthy: boolean): Lengths {
  const last = pushed(lastMin, minutes, LAST_CYCLES);
  const usual = median(usualMin);
  const learning = usualMin.length < CYCLES_NEEDED || usual === null;
  if (!healthy || (!learning && takenMs !== null && atMs - takenMs < CYCLE_EVERY_MS)) return { lastMin: last, usualMin, takenMs };
  const taken = learning ? minutes : round(Math.min(usual * CYCLE_STEP, Math.max(usual / CYCLE_STEP, minutes)));
  return { lastMin: last, usualMin: pushed(usualMin, taken, CYCLES_KEPT), takenMs: atMs };
}

function hourly(memory: EquipmentMemory, { atMs, watts, healthy }: EquipmentReading, counts: boolean): EquipmentMemory {
  const fromMs = Math.floor(atMs / HOUR) * HOUR;
  const closed = memory.hour !== null && memory.hour.fromMs !== fromMs ? learnt(memory, memory.hour) : memory;
  const hour = closed.hour?.fromMs === fromMs ? closed.hour : { fromMs, watts: [], count: 0, healthy: true };
  return { ...closed, hour: { ...hour, healthy: hour.healthy && healthy, ...(counts ? kept(hour, watts) : {}) } };
}

/** Fast meters: when the list is full, every second one goes, and from then on fewer come in. */
function kept({ watts, count }: Hour, next: number): { readonly watts: readonly number[]; readonly count: number } {
  const every = 2 ** Math.max(0, Math.ceil(Math.log2((count + 1) / WATTS_PER_HOUR)));
  if (count % every !== 0) return { watts, count: count + 1 };
  const room = watts.length < WATTS_PER_HOUR ? watts : watts.filter((_, i) => i % 2 === 0);
  return { watts: [...room, round(next)], count: count + 1 };
}

/** An hour is over. */
function learnt(memory: EquipmentMemory, hour: Hour): EquipmentMemory {
  const drawn = median(hour.watts);
  if (drawn === null) return memory;
  const normal = normalDraw(memory);
  const recentWatts = round(ewma(memory.recentWatts, drawn, weightOf(HOUR, RECENT_MS)));
  if (normal === null) return { ...memory, recentWatts, ...(hour.healthy ? taken(memory, drawn, 1) : {}) };
  const sigmas = (drawn - normal.watts) / normal.sigmaWatts;
  // One wild hour is an hour, not a shift.
  const sums = cusum(memory.sums, Math.max(-FREEZE_SIGMAS, Math.min(FREEZE_SIGMAS, sigmas)), 0, SLACK);
  const next = { ...memory, recentWatts, sums: { high: round(Math.min(sums.high, 2 * DECISION)), low: round(Math.min(sums.low, 2 * DECISION)) } };
  const odd = Math.abs(sigmas) > FREEZE_SIGMAS || isFrozen(next) || !hour.healthy;
  return odd ? next : { ...next, ...taken(next, drawn, memory.draws.length < DRAWS_KEPT / 2 ? 1 : LATER_EVERY) };
}

function taken({ draws, taken: before }: EquipmentMemory, drawn: number, every: number): Pick<EquipmentMemory, 'draws' | 'taken'> {
  return { draws: before % every === 0 ? pushed(draws, round(drawn), DRAWS_KEPT) : draws, taken: before + 1 };
}

function spreadOf(minutes: readonly number[]): Spread | null {
  const low = quantile(minutes, 0.1);
  const usual = median(minutes);
  const high = quantile(minutes, 0.9);
  return minutes.length < CYCLES_NEEDED || low === null || usual === null || high === null ? null : { low, usual, high };
}

function pushed(list: readonly number[], value: number, most: number): readonly number[] {
  return [...list, value].slice(-most);
}

const round = (value: number): number => Number(value.toFixed(2)) + 0;
