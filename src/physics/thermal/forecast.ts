/**
 * What the water will do: how fast, and how long until a limit, with the range that holds the truth in four cases of five.
 *
 * Method. 256 tanks that agree with the fit are drawn from its covariance (a fixed sequence of low discrepancy: the same question has the
 * same answer). Each follows Newton's law from now on, made straight around the present temperature, by the time of day with room and measured lights
 * as they usually are then, and the answers are read off at 10, 50 and 90 %. What has been seen since the situation began corrects all of
 * them (an ensemble Kalman step): the nearer the limit, the less the fit matters.
 *
 * Uncertain beside the fit: what the balance leaves out (`MODEL_ERROR`), the room drifts while one waits, the pumps' heat that is lost when they stop, the surface that is stirred less then.
 */
import { DAY, HOUR } from '../../domain/duration.ts';
import { temperatureAfter, timeToReach } from '../cooling.ts';
import type { Estimate } from '../estimate.ts';
import { type Known, known, notKnown } from '../known.ts';
import { BLOCK_MS } from './block.ts';
import type { ThermalFit } from './fit.ts';
import { type LikelyTank, likelyTanks, meanOf, restAt, type Situation } from './likely-tanks.ts';
import { ASSUMED_ROOM_C } from './prior.ts';

/**
 * Until the water is `above` or `below` a limit: how long it is safe, or how long a recovery takes.
 * @returns hours; 0 where the water is there already, `Infinity` where it would not get there within ten days.
 */
export function hoursUntil(fit: ThermalFit, situation: Situation, side: 'above' | 'below', limitC: number): Known<Estimate> {
  if (side === 'above' ? situation.waterC >= limitC : situation.waterC <= limitC) return known({ value: 0, low: 0, high: 0 });
  const rippleWatts = ripple(fit, situation);
  const asked = ask(fit, situation, (tank, drift, z) => {
    // The room drifts as a random walk does: little in an hour, in full within half a day. The lights average out over more than a quarter.
    const first = travel(tank, situation, limitC, 0);
    const rippleK = ((rippleWatts * z) / tank.loss) * Math.sqrt(Math.min(1, SLOT_HOURS / first));
    return travel(tank, situation, limitC, drift * Math.sqrt(Math.min(1, first / DRIFT_HOURS)) + rippleK);
  });
  return asked.known ? known(withModelError(asked.value)) : asked;
}

/** Both ends further out by what the balance leaves out, beside what they are uncertain by already. */
function withModelError({ value, low, high }: Estimate): Estimate {
  if (!(value > 0) || !Number.isFinite(value)) return { value, low, high };
  const widened = (ratio: number): number => Math.exp(Math.hypot(Math.log(ratio), Z_OF_FOUR_IN_FIVE * MODEL_ERROR));
  return { value, low: low > 0 ? value / widened(value / low) : low, high: Number.isFinite(high) ? value * widened(high / value) : high };
}

/** Rock and glass that warm more slowly than the water, water that mixes in its own time, a surface that is stirred less: a tenth of the time, one standard deviation; our own choice, no source. */
const MODEL_ERROR = 0.1;
const Z_OF_FOUR_IN_FIVE = 1.2816;

/** K/h at this moment; negative: it cools. */
export function expectedRate(fit: ThermalFit, situation: Situation): Known<Estimate> {
  const rippleWatts = ripple(fit, situation);
  return ask(fit, situation, (tank, _drift, z) =>
    (tank.loss * (restAt(tank, situation.atMs).restC - situation.waterC) + rippleWatts * z) / tank.capacity);
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

/** Lights that nobody measures switch within a quarter day; how strong they are shows in how the quarters differ. */
function ripple(fit: ThermalFit, { pumpsRun }: Situation): number {
  const mean = meanOf(fit.heatBySlotWatts);
  return pumpsRun ? Math.sqrt(meanOf(fit.heatBySlotWatts.map((heat) => (heat - mean) ** 2))) : 0;
}

const ROOM_DRIFT_K = 1;
const DRIFT_HOURS = 12;
const SLOT_HOURS = BLOCK_MS / HOUR;
const FARTHEST_HOURS = (10 * DAY) / HOUR;

/** Hours to the limit, by time of day. */
function travel(tank: LikelyTank, { atMs, waterC }: Situation, limitC: number, driftK: number): number {
  const rate = tank.loss / tank.capacity;
  let celsius = waterC;
  let hours = 0;
  let nowMs = atMs;
  while (hours < FARTHEST_HOURS) {
    const { restC, forMs } = restAt(tank, nowMs);
    const there = timeToReach(celsius, limitC, restC + driftK, rate);
    if (there <= forMs / HOUR) return hours + there;
    celsius = temperatureAfter(celsius, restC + driftK, rate, forMs / HOUR);
    hours += forMs / HOUR;
    nowMs += forMs;
  }
  return Number.POSITIVE_INFINITY;
}

function ask(fit: ThermalFit, situation: Situation, question: (tank: LikelyTank, driftK: number, z: number) => number): Known<Estimate> {
  const roomC = fit.roomMeasured ? situation.roomC : ASSUMED_ROOM_C;
  if (roomC === null) return notKnown('the temperature of the room is not known');
  if (!Number.isFinite(situation.waterC)) return notKnown('the temperature of the water is not known');
  const drift = situation.roomSdK ?? fit.roomDriftK ?? ROOM_DRIFT_K;
  const answers = likelyTanks(fit, situation, roomC).map((one) => question(one.tank, drift * one.drift, one.ripple)).sort((a, b) => a - b);
  return known({ value: at(answers, 0.5), low: at(answers, 0.1), high: at(answers, 0.9) });
}

/** Nearest rank: there may be infinite ones among them. */
function at(sorted: readonly number[], p: number): number {
  return sorted[Math.min(sorted.length - 1, Math.floor(p * sorted.length))] ?? Number.NaN;
}
