/**
 * What the water will do: how fast, and how long until a limit, with the range that holds the truth in four cases of five.
 *
 * Method. 256 tanks that agree with the fit are drawn from its covariance (a fixed sequence of low discrepancy: the same question has the
 * same answer). Each follows Newton's law from now on, made straight around the present temperature, quarter day by quarter day with the room
 * as it usually is then, and the answers are read off at 10, 50 and 90 %. What has been seen since the situation began corrects all of
 * them (an ensemble Kalman step): the nearer the limit, the less the fit matters.
 *
 * Uncertain beside the fit: the room drifts while one waits, the pumps' heat that is lost when they stop, the surface that is stirred less then.
 */
import { DAY } from '../../domain/duration.ts';
import { temperatureAfter, timeToReach } from '../cooling.ts';
import { type Known, known, notKnown } from '../known.ts';
import { dot } from '../statistics/linear-system.ts';
import { normalQuantile } from '../statistics/normal.ts';
import { BLOCK_MS, SLOTS } from './block.ts';
import { type Estimate, slotOf, type ThermalFit, vapourDifferencePa, vapourSlopePaPerK } from './fit.ts';
import { ASSUMED_ROOM_C, CAPACITY, CHILLING, FIRST_SLOT, LIGHT, LOSS, slots, VAPOUR } from './prior.ts';

/** What holds from now on. */
export interface Situation {
  readonly atMs: number;
  readonly waterC: number;
  /** Now; `null`: not known. With a fit that had no room to measure it is not looked at. */
  readonly roomC: number | null;
  /** Relative, %; left out: not measured. */
  readonly humidityPercent?: number | null;
  /** How far the room may drift from its usual course in half a day, K; left out: as it has strayed of late, or 1. More where its heating is off as well. */
  readonly roomSdK?: number;
  readonly heaterWatts: number;
  readonly chillerWatts: number;
  /** Of measured lights, on the mean of the time ahead. */
  readonly lightWatts: number;
  /** Also stands for lights that nobody measures: an outage takes both. */
  readonly pumpsRun: boolean;
  /** This situation began so long ago, with the water at this temperature; left out: nothing is known but the fit. */
  readonly seen?: { readonly hours: number; readonly fromC: number };
  /** How well a change of temperature is known, K; 0.07 by itself (two means of a probe that shows tenths). */
  readonly probeSdK?: number;
}

/** @returns hours; 0 where the water is there, `Infinity` where it would not get there within ten days. */
export function hoursUntil(fit: ThermalFit, situation: Situation, limitC: number): Known<Estimate> {
  // Lights that nobody measures switch within a quarter day; how strong they are shows in how the quarters differ.
  const mean = meanOf(fit.heatBySlotWatts);
  const rippleWatts = situation.pumpsRun ? Math.sqrt(meanOf(fit.heatBySlotWatts.map((heat) => (heat - mean) ** 2))) : 0;
  return ask(fit, situation, (tank, drift, z) => {
    // The room drifts as a random walk does: little in an hour, in full within half a day. The lights average out over more than a quarter.
    const first = travel(tank, situation, limitC, 0);
    const rippleK = ((rippleWatts * z) / tank.loss) * Math.sqrt(Math.min(1, SLOT_HOURS / first));
    return travel(tank, situation, limitC, drift * Math.sqrt(Math.min(1, first / DRIFT_HOURS)) + rippleK);
  });
}

/** K/h at this moment; negative: it cools. */
export function expectedRate(fit: ThermalFit, situation: Situation): Known<Estimate> {
  return ask(fit, situation, (tank) => (tank.loss * (tank.restC + (tank.bySlotK[slotOf(situation.atMs)] ?? 0) - situation.waterC)) / tank.capacity);
}

/** Where the water would come to rest, °C, on the mean of a day. */
export function restingTemperature(fit: ThermalFit, situation: Situation): Known<Estimate> {
  return ask(fit, situation, (tank, drift) => tank.restC + meanOf(tank.bySlotK) + drift);
}

/**
 * Share of the time that a heater (or heaters) of `heaterWatts` must run to hold the water where it is, on the mean of a day with pumps running; above 1 it
 * cannot. `heaterWatts` of the situation is not looked at.
 */
export function expectedDuty(fit: ThermalFit, situation: Omit<Situation, 'heaterWatts' | 'pumpsRun' | 'seen'>, heaterWatts: number): Known<Estimate> {
  if (!(heaterWatts > 0)) return notKnown('the power of the heater is not known');
  const idle: Situation = { ...situation, heaterWatts: 0, pumpsRun: true };
  return ask(fit, idle, (tank) => Math.max(0, (tank.loss * (situation.waterC - tank.restC - meanOf(tank.bySlotK))) / heaterWatts));
}

interface Drawn {
  readonly capacity: number;
  readonly loss: number;
  /** Where it would come to rest if the room stayed as it is, on the mean of the day's heat. */
  readonly restC: number;
  /** What the time of day adds to that: the usual course of the room, and of lights that nobody measures. */
  readonly bySlotK: readonly number[];
}

const TANKS = 256;
const ROOM_DRIFT_K = 1;
const DRIFT_HOURS = 12;
const SLOT_HOURS = BLOCK_MS / 3_600_000;
const PROBE_SD_K = 0.07;
/** The room as measured against the room as the tank feels it. */
const ROOM_NOW_SD_K = 0.3;
/** Without pumps the surface is still and the sump stands: common practice, no source. */
const STILL_LOSS = 0.9;
const STILL_LOSS_SD = 0.1;
const FARTHEST_HOURS = (10 * DAY) / 3_600_000;

/** Hours to the limit, quarter day by quarter day. */
function travel(tank: Drawn, { atMs, waterC }: Situation, limitC: number, driftK: number): number {
  const rate = tank.loss / tank.capacity;
  let celsius = waterC;
  let hours = 0;
  let nowMs = atMs;
  if (celsius === limitC) return 0;
  while (hours < FARTHEST_HOURS) {
    const leftMs = BLOCK_MS - (nowMs % BLOCK_MS);
    const restC = tank.restC + driftK + (tank.bySlotK[slotOf(nowMs)] ?? 0);
    const there = timeToReach(celsius, limitC, restC, rate);
    if (there <= leftMs / 3_600_000) return hours + there;
    celsius = temperatureAfter(celsius, restC, rate, leftMs / 3_600_000);
    hours += leftMs / 3_600_000;
    nowMs += leftMs;
  }
  return Number.POSITIVE_INFINITY;
}

/** Temperature after so many hours, quarter day by quarter day. */
function after(tank: Drawn, fromMs: number, fromC: number, hours: number): number {
  let celsius = fromC;
  let nowMs = fromMs;
  const endMs = fromMs + hours * 3_600_000;
  while (nowMs < endMs) {
    const stepMs = Math.min(BLOCK_MS - (nowMs % BLOCK_MS), endMs - nowMs);
    celsius = temperatureAfter(celsius, tank.restC + (tank.bySlotK[slotOf(nowMs)] ?? 0), tank.loss / tank.capacity, stepMs / 3_600_000);
    nowMs += stepMs;
  }
  return celsius;
}

function ask(fit: ThermalFit, situation: Situation, question: (tank: Drawn, driftK: number, z: number) => number): Known<Estimate> {
  const roomC = fit.roomMeasured ? situation.roomC : ASSUMED_ROOM_C;
  if (roomC === null) return notKnown('the temperature of the room is not known');
  if (!Number.isFinite(situation.waterC)) return notKnown('the temperature of the water is not known');
  const drift = situation.roomSdK ?? fit.roomDriftK ?? ROOM_DRIFT_K;
  const answers = corrected(draw(fit, situation, roomC), situation).map((tank, n) => question(tank, drift * (sequence[n]?.[7] ?? 0), sequence[n]?.[8] ?? 0)).sort((a, b) => a - b);
  return known({ value: at(answers, 0.5), low: at(answers, 0.1), high: at(answers, 0.9) });
}

/** Nearest rank: there may be infinite ones among them. */
function at(sorted: readonly number[], p: number): number {
  return sorted[Math.min(sorted.length - 1, Math.floor(p * sorted.length))] ?? Number.NaN;
}

function draw(fit: ThermalFit, situation: Situation, roomC: number): readonly Drawn[] {
  const { waterC, pumpsRun } = situation;
  // Only four combinations of the unknowns matter: C, UA, what is exchanged with the room at the present temperatures, and what comes in besides.
  const dark = darkSlots(fit.heatBySlotWatts);
  const exchanged = (i: number): number => {
    if (i === LOSS) return roomC - waterC;
    return i === VAPOUR ? -vapourDifferencePa(waterC, roomC, situation.humidityPercent ?? null) : 0;
  };
  const besides = (i: number): number => {
    if (i === CHILLING) return -situation.chillerWatts;
    if (i === LIGHT) return situation.lightWatts;
    // Without mains only what is there in the darker half of the day: lights nobody measures are off, too.
    if (i >= FIRST_SLOT) return pumpsRun ? 1 / SLOTS : dark.includes(i - FIRST_SLOT) ? 1 / dark.length : 0;
    return 0;
  };
  const row = (of: (i: number) => number): number[] => fit.coefficients.map((_, i) => of(i));
  const slope = vapourSlopePaPerK(waterC);
  const rows = [row((i) => (i === CAPACITY ? 1 : 0)), row((i) => (i === LOSS ? 1 : i === VAPOUR ? slope : 0)), row(exchanged), row(besides)];
  const mean = rows.map((one) => dot(one, fit.coefficients));
  const root = rootOf(rows.map((one) => rows.map((other) => dot(one, fit.covariance.map((line) => dot(line, other))))));
  const [meanCapacity = Number.NaN, meanLoss = Number.NaN] = mean;
  const bySlotK = (loss: number): number[] => slots((slot) => roomAhead(fit, situation.atMs, slot) + (pumpsRun ? heatAhead(fit, slot) / loss : 0));
  return sequence.map((z) => {
    const [capacity = Number.NaN, loss = Number.NaN, exchange = Number.NaN, heat = Number.NaN] = mean.map((value, i) => value + dot(root[i] ?? [], z.slice(0, 4)));
    const still = pumpsRun ? 1 : Math.max(0.5, STILL_LOSS + STILL_LOSS_SD * (z[9] ?? 0));
    const pump = pumpsRun ? 0 : fit.pump.watts + fit.pump.sdWatts * (z[4] ?? 0);
    // A draw far out in the tail of a wide interval is no tank.
    const held = { capacity: Math.max(0.4 * meanCapacity, capacity), loss: Math.max(0.2 * meanLoss, loss) };
    const restC = waterC + (still * exchange + heat + situation.heaterWatts - pump) / (still * held.loss) + ROOM_NOW_SD_K * (z[5] ?? 0);
    return { capacity: held.capacity, loss: still * held.loss, restC, bySlotK: bySlotK(held.loss) };
  });
}

/** The two quarters of the day with the least heat: lights burn for less than half of it, and the least alone would be the least by chance. */
function darkSlots(heatBySlotWatts: readonly number[]): readonly number[] {
  return slots((slot) => slot).sort((a, b) => (heatBySlotWatts[a] ?? Number.NaN) - (heatBySlotWatts[b] ?? Number.NaN)).slice(0, SLOTS / 2);
}

/** By how much the room usually differs in that quarter of the day from now, K; 0 where it is not measured. */
function roomAhead(fit: ThermalFit, atMs: number, slot: number): number {
  const then = fit.roomBySlotC[slot] ?? null;
  const now = fit.roomBySlotC[slotOf(atMs)] ?? null;
  return then === null || now === null ? 0 : then - now;
}

function heatAhead(fit: ThermalFit, slot: number): number {
  return (fit.heatBySlotWatts[slot] ?? Number.NaN) - meanOf(fit.heatBySlotWatts);
}

/** Moves each tank as far as what was seen speaks against it, in proportion to how what was seen depends on it. */
function corrected(tanks: readonly Drawn[], { atMs, seen, waterC, probeSdK }: Situation): readonly Drawn[] {
  if (seen === undefined || !(seen.hours > 0)) return tanks;
  const sd = probeSdK ?? PROBE_SD_K;
  const vectors = tanks.map(({ capacity, loss, restC }) => [Math.log(capacity), Math.log(loss), restC]);
  const predicted = tanks.map((tank) => after(tank, atMs - seen.hours * 3_600_000, seen.fromC, seen.hours));
  const middle = meanOf(predicted);
  const spread = meanOf(predicted.map((value) => (value - middle) ** 2)) + sd * sd;
  const gains = [0, 1, 2].map((i) => {
    const centre = meanOf(vectors.map((vector) => vector[i] ?? Number.NaN));
    return meanOf(vectors.map((vector, n) => ((vector[i] ?? Number.NaN) - centre) * ((predicted[n] ?? Number.NaN) - middle))) / spread;
  });
  return vectors.map((vector, n) => {
    const surprise = waterC + sd * (sequence[n]?.[6] ?? 0) - (predicted[n] ?? Number.NaN);
    const [capacity = Number.NaN, loss = Number.NaN, restC = Number.NaN] = vector.map((value, i) => value + (gains[i] ?? 0) * surprise);
    return { capacity: Math.exp(capacity), loss: Math.exp(loss), restC, bySlotK: tanks[n]?.bySlotK ?? [] };
  });
}

const meanOf = (values: readonly number[]): number => values.reduce((sum, value) => sum + value, 0) / values.length;

/** Lower triangle whose square is the matrix; zero rows where the matrix has no variance left. */
function rootOf(matrix: readonly (readonly number[])[]): number[][] {
  const root: number[][] = matrix.map((row) => row.map(() => 0));
  matrix.forEach((row, i) => {
    const own = root[i] ?? [];
    for (let j = 0; j <= i; j += 1) {
      const other = root[j] ?? [];
      const rest = (row[j] ?? Number.NaN) - dot(own.slice(0, j), other.slice(0, j));
      own[j] = j === i ? Math.sqrt(Math.max(0, rest)) : (other[j] ?? 0) > 0 ? rest / (other[j] ?? Number.NaN) : 0;
    }
  });
  return root;
}

/**
 * Normal deviates in ten dimensions: additive recurrence with the powers of the root of x¹¹ = x + 1 (Roberts' R sequence, from memory), which fills
 * the cube evenly; then through Φ⁻¹.
 */
const sequence: readonly (readonly number[])[] = (() => {
  const dimensions = 10;
  let g = 1.2;
  for (let turn = 0; turn < 60; turn += 1) g = (1 + g) ** (1 / (dimensions + 1));
  return Array.from({ length: TANKS }, (_, n) =>
    Array.from({ length: dimensions }, (_none, d) => normalQuantile((0.5 + (n + 1) * g ** -(d + 1)) % 1)));
})();
