/**
 * A realistic year for the benches, the same for every contender and every run: a reading every 10 s on a grid with 20 ms of jitter (standard
 * deviation), six kinds of sensors with the steps that such sensors have. Everything is made from a seed.
 */
import { DAY, HOUR } from '../../src/domain/duration.ts';
import { seededRandom } from '../store/seeded.ts';

export const CADENCE_MS = 10_000;
export const JITTER_MS = 20;
export const YEAR_START_MS = Date.UTC(2025, 0, 1);
export const READINGS_A_DAY = DAY / CADENCE_MS;

export const seriesKinds = ['temperature', 'level', 'conductivity', 'heater power', 'pump power', 'acidity'] as const;
export type SeriesKind = (typeof seriesKinds)[number];

export interface DayColumns {
  readonly atMs: Float64Array;
  readonly value: Float64Array;
  readonly quality: Float64Array;
}

/** Days of one series, one after the other. */
export function* yearOf(kind: SeriesKind, days: number, seed = seriesKinds.indexOf(kind) + 1): Generator<DayColumns> {
  const random = seededRandom(seed);
  // Box and Muller: a standard normal number out of two uniform ones.
  const normal = (): number => Math.sqrt(-2 * Math.log(1 - random())) * Math.cos(2 * Math.PI * random());
  const sensor = sensors[kind](normal);
  for (let day = 0; day < days; day += 1) {
    const atMs = new Float64Array(READINGS_A_DAY);
    const value = new Float64Array(READINGS_A_DAY);
    for (let i = 0; i < READINGS_A_DAY; i += 1) {
      const gridMs = YEAR_START_MS + day * DAY + (i + 0.5) * CADENCE_MS;
      atMs[i] = gridMs + Math.round(normal() * JITTER_MS);
      value[i] = sensor(gridMs);
    }
    yield { atMs, value, quality: new Float64Array(READINGS_A_DAY) };
  }
}

/** A number as a sensor with this step sends it: a decimal, without binary noise. */
const stepped = (value: number, step: number, decimals: number): number => Number((Math.round(value / step) * step).toFixed(decimals));
const daily = (atMs: number, phase = 0): number => Math.sin((2 * Math.PI * (atMs % DAY)) / DAY + phase);

type Sensor = (atMs: number) => number;
const sensors: Record<SeriesKind, (normal: () => number) => Sensor> = {
  // A one-wire probe with steps of 1/16 °C.
  temperature: (normal) => (atMs) => stepped(25.4 + 0.35 * daily(atMs) + 0.2 * Math.sin(atMs / HOUR) + 0.02 * normal(), 0.0625, 4),
  // A float in a reservoir that is drawn down and filled once a week, in millimetres.
  level: (normal) => (atMs) => stepped(380 - (330 * ((atMs - YEAR_START_MS) % (7 * DAY))) / (7 * DAY) + 0.5 * normal(), 1, 0),
  conductivity: (normal) => (atMs) => stepped(53.1 + 0.15 * daily(atMs, 1) + 0.01 * normal(), 0.01, 2),
  // Cycles through its band every 25 to 35 minutes; the meter reads tenths of watts.
  'heater power': (normal) => {
    let untilMs = 0;
    let on = false;
    return (atMs) => {
      if (atMs >= untilMs) {
        on = !on;
        untilMs = atMs + (15 + 2 * normal()) * 60_000;
      }
      return on ? stepped(296 + 0.4 * normal(), 0.1, 1) : 0;
    };
  },
  'pump power': (normal) => (atMs) => stepped(58.2 + 0.3 * daily(atMs, 2) + 0.3 * normal(), 0.1, 1),
  acidity: (normal) => (atMs) => stepped(8.15 + 0.12 * daily(atMs, 3) + 0.005 * normal(), 0.01, 2),
};
