/**
 * Which balance of a tank does not close: water, salt, or neither.
 *
 * Evaporation takes water and leaves salt; a leak or an overflowing skimmer takes both, and the top-off replaces them by fresh water. With V the water, S its
 * salinity, v the change of V that the sump shows: V · dS/dt = −S · (L + v), and top-off = E + L + v. So the loss of salt water is L = −V/S · dS/dt − v, and what is
 * left of the top-off is evaporation E. (Arithmetic; salinity taken per volume, which is good to 3 %.)
 */
import type { Band } from '../evaporation.ts';
import { type Known, known, notKnown } from '../known.ts';
import type { Estimate } from '../estimate.ts';

export interface BalanceInput {
  readonly systemLitres: number;
  readonly salinity: number;
  /** Slope of the salinity, 1/day, over the same days as the rest; hand-made changes taken out. */
  readonly salinityPerDay: Estimate;
  readonly topOffLitresPerDay: Estimate;
  /** Change of the water in the system, L/day: 0 where the top-off holds the sump. */
  readonly storedLitresPerDay: Estimate;
  /** What the tank may evaporate: estimated (`evaporation.ts`), or its own habit; `null`: not known. */
  readonly evaporationLitresPerDay: Band | null;
}

export interface Balance {
  /**
   * - `closes`
   * - `salt-water-lost`: salt goes with water: a leak, a skimmer that overflows, spray, water taken for something.
   * - `fresh-water-lost`: the reservoir loses more than the tank can evaporate, and no salt: a leak of reservoir or line, or a siphon elsewhere.
   * - `not-replaced`: salt gets denser: evaporation is not topped up, or salt was added.
   */
  readonly verdict: 'closes' | 'salt-water-lost' | 'fresh-water-lost' | 'not-replaced';
  /** Salt water lost, L/day; below 0: fresh water lost that nothing replaced. */
  readonly lostLitresPerDay: Estimate;
  readonly evaporatedLitresPerDay: Estimate;
}

/** A loss below this share of the system a day is not worth a walk: common practice, no source. */
const LEAST_SHARE = 0.001;

export function balance(input: BalanceInput): Known<Balance> {
  const { systemLitres, salinity, salinityPerDay, topOffLitresPerDay, storedLitresPerDay, evaporationLitresPerDay } = input;
  // In fresh water nothing marks what went.
  if (!(salinity >= LEAST_SALINITY)) return notKnown(`a salinity of ${salinity} tells nothing of where water goes`);
  if (!(systemLitres > 0)) return notKnown('the volume of the tank is not entered');
  const perUnit = -systemLitres / salinity;
  const lost = sum([scaled(salinityPerDay, perUnit), scaled(storedLitresPerDay, -1)]);
  const evaporated = sum([topOffLitresPerDay, scaled(storedLitresPerDay, -1), scaled(lost, -1)]);
  const least = LEAST_SHARE * systemLitres;
  const verdict = lost.low > least ? 'salt-water-lost'
    : lost.high < -least ? 'not-replaced'
    : evaporationLitresPerDay !== null && evaporated.low > evaporationLitresPerDay.high ? 'fresh-water-lost'
    : 'closes';
  return known({ verdict, lostLitresPerDay: lost, evaporatedLitresPerDay: evaporated });
}

const LEAST_SALINITY = 5;

/** 1/day by which salinity moves when so much evaporates and so much is topped up. */
export function expectedSalinityPerDay(salinity: number, systemLitres: number, evaporatedLitresPerDay: number, topOffLitresPerDay: number): number {
  return (salinity * (evaporatedLitresPerDay - topOffLitresPerDay)) / systemLitres;
}

/** Salinity after fresh water of `share` of the volume was added (below 0: evaporated). */
export function salinityAfter(salinity: number, share: number): number {
  return salinity / (1 + share);
}

function scaled({ value, low, high }: Estimate, factor: number): Estimate {
  const ends = [low * factor, high * factor];
  return { value: value * factor, low: Math.min(...ends), high: Math.max(...ends) };
}

/** Ranges of things that err independently add as their squares. */
function sum(parts: readonly Estimate[]): Estimate {
  const value = parts.reduce((total, part) => total + part.value, 0);
  return {
    value,
    low: value - Math.hypot(...parts.map((part) => part.value - part.low)),
    high: value + Math.hypot(...parts.map((part) => part.high - part.value)),
  };
}
