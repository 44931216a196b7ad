/**
 * 256 tanks that agree with a fit: drawn from its covariance, each with a heat capacity, a loss, and a temperature at which it would come to rest in a
 * given situation. A fixed sequence of low discrepancy stands for chance, so that the same question has the same answer.
 */
import { HOUR } from '../../domain/duration.ts';
import { temperatureAfter } from '../cooling.ts';
import { dot } from '../statistics/linear-system.ts';
import { normalQuantile } from '../statistics/normal.ts';
import { BLOCK_MS, SLOTS } from './block.ts';
import { slotOf, type ThermalFit, vapourDifferencePa, vapourSlopePaPerK } from './fit.ts';
import { CAPACITY, CHILLING, FIRST_SLOT, LIGHT, LOSS, slots, VAPOUR } from './prior.ts';

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
  /** The chiller runs and the water is too warm all the same: anything from nothing to all of its cooling may arrive. What is seen settles it. */
  readonly chillerInDoubt?: boolean;
  /** Of measured lights, on the mean of the time ahead. */
  readonly lightWatts: number;
  /** Their usual course: 24 values, by hour of the day in UTC; `lightWatts` should be their mean. Left out: taken as even. */
  readonly lightByHourWatts?: readonly number[];
  /** The usual course of the room, likewise, °C; left out: by quarter of the day, as the fit knows it. */
  readonly roomByHourC?: readonly number[];
  /** Also stands for lights that nobody measures: an outage takes both. */
  readonly pumpsRun: boolean;
  /** This situation began so long ago, with the water at this temperature; left out: nothing is known but the fit. */
  readonly seen?: { readonly hours: number; readonly fromC: number };
  /** How well a change of temperature is known, K; 0.07 by itself (two means of a probe that shows tenths). */
  readonly probeSdK?: number;
}

const hours = Array.from({ length: 24 }, (_, hour) => hour);
const hourOf = (atMs: number): number => Math.floor(atMs / HOUR) % 24;

export interface LikelyTank {
  readonly capacity: number;
  readonly loss: number;
  /** Where it would come to rest if the room stayed as it is, on the mean of the day's heat. */
  readonly restC: number;
  /** What the time of day adds to that: the usual course of the room, and of lights that nobody measures. */
  readonly bySlotK: readonly number[];
  /** What is known better adds to it by hour of the day in UTC; `null`: nothing is. A lamp goes out, and a heating starts, within a quarter of a day, and a night is as long as many a forecast. */
  readonly byHourK: readonly number[] | null;
}

/** Where the tank would come to rest if it were always as it is at this time of day. @returns how long that holds, too. */
export function restAt(tank: LikelyTank, atMs: number): { readonly restC: number; readonly forMs: number } {
  const everyMs = tank.byHourK === null ? BLOCK_MS : HOUR;
  const byHour = tank.byHourK?.[hourOf(atMs)] ?? 0;
  return { restC: tank.restC + (tank.bySlotK[slotOf(atMs)] ?? 0) + byHour, forMs: everyMs - (atMs % everyMs) };
}

/** With the deviates that belong to a tank but not to what is known of it: how the room will drift, how lights will fall. */
export interface Draw {
  readonly tank: LikelyTank;
  readonly drift: number;
  readonly ripple: number;
}

/** @param roomC now, as the fit knows the room. */
export function likelyTanks(fit: ThermalFit, situation: Situation, roomC: number): readonly Draw[] {
  return corrected(draw(fit, situation, roomC), situation).map((tank, n) => ({ tank, drift: sequence[n]?.[7] ?? 0, ripple: sequence[n]?.[8] ?? 0 }));
}

const TANKS = 256;
const PROBE_SD_K = 0.07;
/** The room as measured against the room as the tank feels it. */
const ROOM_NOW_SD_K = 0.3;
/** Without pumps the surface is still and the sump stands: common practice, no source. */
const STILL_LOSS = 0.9;
const STILL_LOSS_SD = 0.1;
/** Of the cooling of a chiller in doubt: even between none and all, near enough. */
const ARRIVES = 0.5;
const ARRIVES_SD = 0.4;

/** Temperature after so many hours, by time of day. */
function after(tank: LikelyTank, fromMs: number, fromC: number, hours: number): number {
  let celsius = fromC;
  let nowMs = fromMs;
  const endMs = fromMs + hours * HOUR;
  while (nowMs < endMs) {
    const { restC, forMs } = restAt(tank, nowMs);
    const stepMs = Math.min(forMs, endMs - nowMs);
    celsius = temperatureAfter(celsius, restC, tank.loss / tank.capacity, stepMs / HOUR);
    nowMs += stepMs;
  }
  return celsius;
}

function draw(fit: ThermalFit, situation: Situation, roomC: number): readonly LikelyTank[] {
  const { waterC, pumpsRun, lightByHourWatts: lightByHour, roomByHourC: roomByHour } = situation;
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
  const bySlotK = (loss: number): number[] => slots((slot) => (roomByHour === undefined ? roomAhead(fit, situation.atMs, slot) : 0) + (pumpsRun ? heatAhead(fit, slot) / loss : 0));
  const byHourK = (loss: number): readonly number[] | null => (lightByHour === undefined && roomByHour === undefined ? null : hours.map((hour) =>
    (fit.lightShare.value * ((lightByHour?.[hour] ?? situation.lightWatts) - situation.lightWatts)) / loss + (roomByHour?.[hour] ?? 0) - (roomByHour?.[hourOf(situation.atMs)] ?? 0)));
  return sequence.map((z) => {
    const [capacity = Number.NaN, loss = Number.NaN, exchange = Number.NaN, heat = Number.NaN] = mean.map((value, i) => value + dot(root[i] ?? [], z.slice(0, 4)));
    const still = pumpsRun ? 1 : Math.max(0.5, STILL_LOSS + STILL_LOSS_SD * (z[9] ?? 0));
    const pump = pumpsRun ? 0 : fit.pump.watts + fit.pump.sdWatts * (z[4] ?? 0);
    // A draw far out in the tail of a wide interval is no tank.
    const held = { capacity: Math.max(0.4 * meanCapacity, capacity), loss: Math.max(0.2 * meanLoss, loss) };
    const lost = situation.chillerInDoubt === true ? (1 - Math.min(1, Math.max(0, ARRIVES + ARRIVES_SD * (z[9] ?? 0)))) * situation.chillerWatts * fit.chilling.value : 0;
    const restC = waterC + (still * exchange + heat + lost + situation.heaterWatts - pump) / (still * held.loss) + ROOM_NOW_SD_K * (z[5] ?? 0);
    return { capacity: held.capacity, loss: still * held.loss, restC, bySlotK: bySlotK(held.loss), byHourK: byHourK(held.loss) };
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
function corrected(tanks: readonly LikelyTank[], { atMs, seen, waterC, probeSdK }: Situation): readonly LikelyTank[] {
  if (seen === undefined || !(seen.hours > 0)) return tanks;
  const sd = probeSdK ?? PROBE_SD_K;
  const vectors = tanks.map(({ capacity, loss, restC }) => [Math.log(capacity), Math.log(loss), restC]);
  const predicted = tanks.map((tank) => after(tank, atMs - seen.hours * HOUR, seen.fromC, seen.hours));
  const middle = meanOf(predicted);
  const spread = meanOf(predicted.map((value) => (value - middle) ** 2)) + sd * sd;
  const gains = [0, 1, 2].map((i) => {
    const centre = meanOf(vectors.map((vector) => vector[i] ?? Number.NaN));
    return meanOf(vectors.map((vector, n) => ((vector[i] ?? Number.NaN) - centre) * ((predicted[n] ?? Number.NaN) - middle))) / spread;
  });
  return vectors.map((vector, n) => {
    const surprise = waterC + sd * (sequence[n]?.[6] ?? 0) - (predicted[n] ?? Number.NaN);
    const [capacity = Number.NaN, loss = Number.NaN, restC = Number.NaN] = vector.map((value, i) => value + (gains[i] ?? 0) * surprise);
    return { capacity: Math.exp(capacity), loss: Math.exp(loss), restC, bySlotK: tanks[n]?.bySlotK ?? [], byHourK: tanks[n]?.byHourK ?? null };
  });
}

export const meanOf = (values: readonly number[]): number => values.reduce((sum, value) => sum + value, 0) / values.length;

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
