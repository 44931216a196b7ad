/**
 * What a tank loses, holds and gets as heat, fitted to its own quiet days.
 *
 * Balance of a block: heater = C · rise/h + U · (water − room) + e · Δp + k · chiller − g · light − q(time of day). Unknown are the heat capacity C, the
 * loss through walls and bare contact U, the evaporation e by the difference Δp of vapour pressures (a room that warms slows both, but evaporation
 * much less than water that cools does: taken for one, the loss would come out a quarter too small), the chiller's heat per electrical watt k, the
 * share g of the lights that ends in the water, and the constant heat q of pumps and of lights nobody measures, one value for each quarter of the day (so that lights that are on while
 * the room is warm are not taken for insulation). Probes that disagree by a constant end up in q, too, and do no harm.
 *
 * A tank that is cooled more than it is heated has no meter for what it loses but the chiller's, so there the same balance is divided by k and solved for the
 * chiller's draw (`scale.ts`); solved for a heater that stands still it would explain everything by nothing.
 *
 * Robust (Huber), with the prior of `prior.ts`; older blocks enter as the sums they left. Intervals are widened where one residual resembles the
 * next. The loss by itself needs the difference between water and room to have changed: without that `doubt` says so, and it is not to be shown. Forecasts
 * are possible all the same, for what the heater has put in day by day is what the water will miss; their ranges tell how far to trust them.
 */
import { saturationPressurePa } from '../air.ts';
import type { Estimate } from '../estimate.ts';
import { type Known, known, notKnown } from '../known.ts';
import { dot } from '../statistics/linear-system.ts';
import { halfWidth, huber, type Observation, type Prior, type Regression } from '../statistics/huber.ts';
import { median } from '../statistics/median.ts';
import { BLOCK_MS, type Block, SLOTS } from './block.ts';
import { ASSUMED_HUMIDITY_PERCENT, ASSUMED_ROOM_C, CAPACITY, CHILLING, FIRST_SLOT, LIGHT, LOSS, type PumpHeat, priorOf, pumpHeat, slots, type ThermalFacts, VAPOUR } from './prior.ts';
import { inWatts, type Scale, scaled, scaledPrior, scaleOf } from './scale.ts';

export interface ThermalFit {
  readonly capacityWhPerK: Estimate;
  /** Why the loss is not known well enough to be shown or compared, though forecasts are possible; `null`: it is. */
  readonly doubt: string | null;
  /** UA: by how much the loss changes with each kelvin of the water, evaporation included, around its usual temperature. */
  readonly lossWPerK: Estimate;
  /** Heat taken out for each electrical watt of the chiller. */
  readonly chilling: Estimate;
  readonly lightShare: Estimate;
  /** Heat from pumps and unmeasured lights, less what goes even when water and room are alike: mean over the day, and by quarter. */
  readonly heatWatts: Estimate;
  readonly heatBySlotWatts: readonly number[];
  readonly roomMeasured: boolean;
  /** Usual room temperature by quarter of the day; `null`: not measured. */
  readonly roomBySlotC: readonly (number | null)[];
  /** By how much the room strays from that in half a day (standard deviation), K; `null`: not measured. */
  readonly roomDriftK: number | null;
  /** Usual temperature of the water. */
  readonly waterC: number;
  readonly pump: PumpHeat;
  /** Mean absolute misfit of a block counts about 0.8 of this, W. */
  readonly residualWatts: number;
  readonly blocks: number;
  /** All unknowns and their covariance, for forecasts. */
  readonly coefficients: readonly number[];
  readonly covariance: readonly (readonly number[])[];
}

export const LEAST_BLOCKS = 12;
/** The loss is in doubt when it is not known to 40 %. */
const WORST_SHARE = 0.4;
const CONFIDENCE = 0.8;
/** Plug meters and a heater that switches within a block: no fit is believed to be better than this share of the mean draw, nor than 2 W. */
const METER_SHARE = 0.02;

/** @param past what blocks that are no longer kept have told. */
export function fitThermal(blocks: readonly Block[], past: Past | null, facts: ThermalFacts): Known<ThermalFit> {
  const usable = usableBlocks(blocks, facts);
  if (past === null && usable.length < LEAST_BLOCKS) {
    return notKnown(`${usable.length} undisturbed quarter days of readings are there, and ${LEAST_BLOCKS} are needed`);
  }
  const regression = regress(usable, past, facts);
  if (regression === null) return notKnown('the readings do not settle the heat balance');
  const fit = describe(inWatts(regression, scaleOf(usable)), usable, facts);
  return fit.lossWPerK.value > 0 && fit.capacityWhPerK.value > 0 ? known(fit) : notKnown('the readings contradict every heat balance: look for a meter or a probe that is wrong');
}

function doubtOf({ value, low, high }: Estimate, facts: ThermalFacts): string | null {
  if (high - low <= 2 * WORST_SHARE * value) return null;
  const what = facts.roomMeasured ? 'water and room have differed too evenly' : 'the room is not measured, and the water has been too even';
  return `${what} to tell what the tank loses (${Math.max(0, low).toFixed(0)} to ${high.toFixed(0)} W/K)`;
}

/** Sums over blocks that are gone, by the form in which they were fitted. */
export type Past = Partial<Record<Scale, Prior>>;

/** The regression itself, in the scale of `scaleOf`. */
export function regress(usable: readonly Block[], past: Past | null, facts: ThermalFacts): Regression | null {
  const scale = scaleOf(usable);
  const observations = usable.map((block) => scaled(observe(block, facts), scale));
  const draws = observations.reduce((sum, { y }) => sum + Math.abs(y), 0) / Math.max(1, usable.length);
  const before = past?.[scale];
  const found = huber(observations, { prior: scaledPrior(priorOf(facts), scale), leastSigma: Math.max(2, METER_SHARE * draws), ...(before === undefined ? {} : { before }) });
  if (found === null) return null;
  const inflation = likeness(usable, observations, found);
  return { ...found, covariance: found.covariance.map((row) => row.map((value) => value * inflation)) };
}

export function usableBlocks(blocks: readonly Block[], facts: ThermalFacts): readonly Block[] {
  return facts.roomMeasured ? blocks.filter(({ roomC }) => roomC !== null) : blocks;
}

export function observe(block: Block, facts: ThermalFacts): Observation {
  const roomC = facts.roomMeasured ? block.roomC ?? Number.NaN : ASSUMED_ROOM_C;
  const slot = slotOf(block.fromMs);
  return {
    x: [block.riseK / BLOCK_HOURS, block.waterC - roomC, vapourDifferencePa(block.waterC, roomC, block.humidityPercent), block.chillerWatts, -block.lightWatts, ...slots((one) => (one === slot ? -1 : 0))],
    y: block.heaterWatts,
  };
}

/** Vapour at the surface against that in the room, Pa; 0 outside of 0–100 °C, where no tank is. */
export function vapourDifferencePa(waterC: number, roomC: number, humidityPercent: number | null): number {
  const water = saturationPressurePa(waterC);
  const room = saturationPressurePa(roomC);
  return water.known && room.known ? water.value - ((humidityPercent ?? ASSUMED_HUMIDITY_PERCENT) / 100) * room.value : 0;
}

/** By how much the vapour pressure at the surface rises with each kelvin of the water, Pa/K. */
export function vapourSlopePaPerK(waterC: number): number {
  return vapourDifferencePa(waterC + 0.5, waterC, 0) - vapourDifferencePa(waterC - 0.5, waterC, 0);
}

export function slotOf(atMs: number): number {
  return Math.floor(atMs / BLOCK_MS) % SLOTS;
}

const BLOCK_HOURS = BLOCK_MS / 3_600_000;

function describe(regression: Regression, usable: readonly Block[], facts: ThermalFacts): ThermalFit {
  const { coefficients, covariance } = regression;
  // Student's widening is the same for every combination.
  const widening = halfWidth(regression, LOSS, CONFIDENCE) / Math.sqrt(covariance[LOSS]?.[LOSS] ?? Number.NaN);
  const estimate = (of: readonly (readonly [number, number])[]): Estimate => {
    const row = coefficients.map((_, i) => of.find(([index]) => index === i)?.[1] ?? 0);
    return around(dot(row, coefficients), widening * Math.sqrt(dot(row, covariance.map((line) => dot(line, row)))));
  };
  const roomBySlotC = slots((slot) => median(usable.flatMap((block) => (block.roomC !== null && slotOf(block.fromMs) === slot ? [block.roomC] : []))));
  const waterC = median(usable.map((block) => block.waterC)) ?? 25;
  const lossWPerK = estimate([[LOSS, 1], [VAPOUR, vapourSlopePaPerK(waterC)]]);
  return {
    capacityWhPerK: estimate([[CAPACITY, 1]]),
    lossWPerK,
    doubt: doubtOf(lossWPerK, facts),
    chilling: estimate([[CHILLING, 1]]),
    lightShare: estimate([[LIGHT, 1]]),
    heatWatts: estimate(slots((slot) => [FIRST_SLOT + slot, 1 / SLOTS] as const)),
    heatBySlotWatts: slots((slot) => coefficients[FIRST_SLOT + slot] ?? Number.NaN),
    roomMeasured: facts.roomMeasured,
    roomBySlotC,
    roomDriftK: roomDrift(usable, roomBySlotC),
    waterC,
    pump: pumpHeat(facts),
    residualWatts: regression.residualSigma,
    blocks: usable.length,
    coefficients,
    covariance,
  };
}

/** How much the room's deviation from its usual course changes by in two blocks: mean absolute change as a standard deviation (× √(π/2)). Weekends are in it. */
function roomDrift(blocks: readonly Block[], roomBySlotC: readonly (number | null)[]): number | null {
  const strayed = new Map(blocks.flatMap(({ fromMs, roomC }) => {
    const usual = roomBySlotC[slotOf(fromMs)] ?? null;
    return roomC === null || usual === null ? [] : [[fromMs, roomC - usual] as const];
  }));
  const changes = [...strayed].flatMap(([fromMs, by]) => {
    const before = strayed.get(fromMs - 2 * BLOCK_MS);
    return before === undefined ? [] : [by - before];
  });
  return changes.length < 8 ? null : (Math.sqrt(Math.PI / 2) * changes.reduce((sum, change) => sum + Math.abs(change), 0)) / changes.length;
}

const around = (value: number, reach: number): Estimate => ({ value, low: value - reach, high: value + reach });

/**
 * How much less is known because neighbouring blocks err alike (the weather, the humidity): (1 + r)/(1 − r) with r the correlation of
 * residuals of one block with the next, between 1 and 5.
 */
function likeness(blocks: readonly Block[], observations: readonly Observation[], { coefficients }: Regression): number {
  const residuals = observations.map(({ x, y }, i) => ({ fromMs: blocks[i]?.fromMs ?? Number.NaN, r: y - dot(x, coefficients) }));
  let together = 0;
  let square = 0;
  let pairs = 0;
  residuals.forEach(({ fromMs, r }, i) => {
    const before = residuals[i - 1];
    if (before === undefined || fromMs - before.fromMs !== BLOCK_MS) return;
    together += r * before.r;
    square += (r * r + before.r * before.r) / 2;
    pairs += 1;
  });
  if (pairs < 8 || square === 0) return 1;
  const r = Math.min(0.67, Math.max(0, together / square));
  return (1 + r) / (1 - r);
}
