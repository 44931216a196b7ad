/** From the scores of single trials to the figures of the card. Nothing here rounds, and what was not measured is `null`, never zero. */
import { boundMs, type FaultScore, type HealthyScore, type Ring } from './judge.ts';
import type { Score } from './run.ts';

export interface FaultRow {
  readonly fault: string;
  readonly runs: number;
  readonly found: number;
  readonly namedRight: number;
  /** Exactly one page. */
  readonly onePage: number;
  readonly noPage: number;
  /** Found by a rule of low priority, which pages nobody by design. */
  readonly onlyListed: number;
  /** The healthy twin never differs by what counts as a departure. */
  readonly neverDeparted: number;
  readonly medianDelayMs: number | null;
  readonly medianDepartureMs: number | null;
  readonly medianDelayRatio: number | null;
  /** Rule kind that answered first → runs; a kind that only listed it stands in brackets; `nothing`: missed. */
  readonly answers: ReadonlyMap<string, number>;
}

/** The keys of the JSON line, in its order. */
export interface Figures {
  readonly faults: number;
  /** Of which not one run was missed. */
  readonly faultsFound: number;
  readonly runs: number;
  readonly found: number;
  readonly namedRight: number;
  readonly onePage: number;
  /** Median over the runs that were found of delay ÷ bound. */
  readonly medianDelayRatio: number | null;
  readonly healthyTankMonths: number;
  readonly falsePages: number;
  readonly falsePagesPerTankMonth: number | null;
  readonly forecastMedianError: number | null;
  readonly forecastCover80: number | null;
  /** Beyond what was asked for: forecasts scored, and runs that were put on the list and paged nobody. */
  readonly forecasts: number;
  readonly onlyListed: number;
}

export interface Card {
  readonly figures: Figures;
  readonly rows: readonly FaultRow[];
  readonly faultScores: readonly FaultScore[];
  readonly healthy: readonly HealthyScore[];
  readonly falsePages: readonly FalsePage[];
  readonly falseListed: readonly FalsePage[];
  /** Rang beside a fault: before it began, or in the healthy twin as well. Not in the figures. */
  readonly besideFaults: readonly FalsePage[];
}

export interface FalsePage extends Ring {
  readonly tankKind: string;
  readonly seed: number;
}

export const missed = 'nothing';

export function sum(scores: readonly Score[]): Card {
  const faultScores = scores.filter((score) => score.type === 'fault');
  const healthy = scores.filter((score) => score.type === 'healthy');
  const names = [...new Set(faultScores.map(({ job }) => job.fault))].sort();
  const rows = names.map((fault) => rowOf(fault, faultScores.filter(({ job }) => job.fault === fault)));
  const months = total(healthy.map((score) => score.months));
  const falsePages = healthy.flatMap((score) => placed(score, score.falsePages));
  const forecasts = faultScores.flatMap((score) => score.forecasts);
  const ranged = forecasts.flatMap(({ range, trueMs }) => (range === null ? [] : [range.lowMs <= trueMs && trueMs <= range.highMs]));
  return {
    figures: {
      faults: rows.length,
      faultsFound: rows.filter(({ runs, found }) => found === runs).length,
      runs: faultScores.length,
      found: total(rows.map(({ found }) => found)),
      namedRight: total(rows.map(({ namedRight }) => namedRight)),
      onePage: total(rows.map(({ onePage }) => onePage)),
      medianDelayRatio: median(faultScores.flatMap(ratiosOf)),
      healthyTankMonths: months,
      falsePages: falsePages.length,
      falsePagesPerTankMonth: months === 0 ? null : falsePages.length / months,
      forecastMedianError: median(forecasts.map(({ aheadMs, trueMs }) => Math.abs(aheadMs - trueMs) / trueMs)),
      forecastCover80: ranged.length === 0 ? null : ranged.filter(Boolean).length / ranged.length,
      forecasts: forecasts.length,
      onlyListed: total(rows.map(({ onlyListed }) => onlyListed)),
    },
    rows, faultScores, healthy, falsePages,
    falseListed: healthy.flatMap((score) => placed(score, score.falseListed)),
    besideFaults: faultScores.flatMap((score) => placed(score, score.falsePages)),
  };
}

function rowOf(fault: string, scores: readonly FaultScore[]): FaultRow {
  const answers = new Map<string, number>();
  for (const { named, by } of scores) {
    const answer = named === null ? missed : by === 'list' ? `(${named})` : named;
    answers.set(answer, (answers.get(answer) ?? 0) + 1);
  }
  const count = (is: (score: FaultScore) => boolean): number => scores.filter(is).length;
  return {
    fault, answers,
    runs: scores.length,
    found: count(({ by }) => by !== null),
    namedRight: count(({ namedRight }) => namedRight),
    onePage: count(({ pages }) => pages.length === 1),
    noPage: count(({ pages }) => pages.length === 0),
    onlyListed: count(({ by }) => by === 'list'),
    neverDeparted: count(({ departureMs }) => departureMs === null),
    medianDelayMs: median(scores.flatMap(({ delayMs }) => (delayMs === null ? [] : [delayMs]))),
    medianDepartureMs: median(scores.flatMap(({ departureMs }) => (departureMs === null ? [] : [departureMs]))),
    medianDelayRatio: median(scores.flatMap(ratiosOf)),
  };
}

/** One or none. */
function ratiosOf(score: FaultScore): readonly number[] {
  const bound = boundMs(score);
  return score.delayMs === null || bound === null || bound <= 0 ? [] : [score.delayMs / bound];
}

const placed = ({ job: { tankKind, seed } }: Score, rings: readonly Ring[]): readonly FalsePage[] => rings.map((ring) => ({ ...ring, tankKind, seed }));

const total = (numbers: readonly number[]): number => numbers.reduce((sum, one) => sum + one, 0);

export function median(numbers: readonly number[]): number | null {
  const sorted = [...numbers].sort((a, b) => a - b);
  const high = sorted[sorted.length >> 1];
  const low = sorted[(sorted.length - 1) >> 1];
  return low === undefined || high === undefined ? null : (low + high) / 2;
}
