/** Every trial that was asked for: seed after seed, the short ones first and a share of the healthy months behind each, so that a card cut short shows something of all. */
import { faultKind } from '../../simulator/faults/all.ts';
import { makeTrial } from '../../simulator/trial.ts';
import { DAY } from '../../src/domain/duration.ts';
import type { ScorecardOptions } from './arguments.ts';
import type { Fleets } from './fleets.ts';
import { MONTH_MS } from './judge.ts';
import type { Job } from './run.ts';

/** A quarter shows what a season does; where few months are asked for, more tanks tell more. */
const QUARTER_MONTHS = 3;
const MANY_MONTHS = 48;

export function planJobs(options: ScorecardOptions, fleets: Fleets): readonly Job[] {
  const { faults, tankKinds, seeds, firstSeed, everyKind } = options;
  const inOrder = [...faults].sort((a, b) => faultKind(a).watchMs - faultKind(b).watchMs);
  const healthy = healthyJobs(options);
  const jobs: Job[] = [];
  for (let seed = firstSeed; seed < firstSeed + seeds; seed += 1) {
    for (const [number, fault] of inOrder.entries()) {
      const fitting = tankKinds.filter((tankKind) => makeTrial({ fleet: fleets.of(tankKind).fleet, seed, fault }) !== null);
      const one = fitting[(number + seed) % fitting.length];
      for (const tankKind of everyKind || one === undefined ? fitting : [one]) jobs.push({ type: 'fault', fault, tankKind, seed });
    }
    const done = seed - firstSeed;
    jobs.push(...healthy.slice(Math.floor((healthy.length * done) / seeds), Math.floor((healthy.length * (done + 1)) / seeds)));
  }
  return jobs;
}

function healthyJobs({ tankKinds, firstSeed, healthyMonths }: ScorecardOptions): readonly Job[] {
  const each = healthyMonths >= MANY_MONTHS ? QUARTER_MONTHS : 1;
  return Array.from({ length: Math.ceil(healthyMonths / each) }, (_, number) => ({
    type: 'healthy', tankKind: tankKinds[number % tankKinds.length] ?? 'small-reef', seed: firstSeed + number, days: (Math.min(each, healthyMonths - number * each) * MONTH_MS) / DAY,
  }));
}
