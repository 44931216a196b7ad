/** What is to be tried, and one trial done: watched, and judged against the truth. */
import { makeTrial, type Trial } from '../../simulator/trial.ts';
import type { TankKind } from '../../simulator/tank-kinds.ts';
import { DAY } from '../../src/domain/duration.ts';
import type { Fleets } from './fleets.ts';
import { type FaultScore, type HealthyScore, judgeFault, judgeHealthy } from './judge.ts';
import { watchTrial } from './watch.ts';

export interface FaultJob {
  readonly type: 'fault';
  readonly fault: string;
  readonly tankKind: TankKind;
  readonly seed: number;
  /** Left out: as the fault needs (`simulator/trial.ts`). */
  readonly settleMs?: number;
  readonly watchMs?: number;
}

export interface HealthyJob {
  readonly type: 'healthy';
  readonly tankKind: TankKind;
  readonly seed: number;
  readonly days: number;
}

export type Job = FaultJob | HealthyJob;
export type Score = FaultScore | HealthyScore;

/** @throws Error for a fault the simulator does not have, or one that cannot happen to this kind of tank. */
export async function runJob(job: Job, fleets: Fleets): Promise<Score> {
  const watched = fleets.of(job.tankKind);
  const { fleet } = watched;
  if (job.type === 'healthy') {
    const trial = makeTrial({ fleet, seed: job.seed, fault: null, settleMs: 0, watchMs: job.days * DAY });
    if (trial === null) throw new Error('a healthy life can always be tried');
    const seen = await watchTrial(trial, watched);
    return judgeHealthy(job, trial, seen);
  }
  const { fault, seed, settleMs, watchMs } = job;
  const trial = makeTrial({ fleet, seed, fault, ...(settleMs === undefined ? {} : { settleMs }), ...(watchMs === undefined ? {} : { watchMs }) });
  if (trial?.truth == null) throw new Error(`${fault} cannot happen to ${job.tankKind}`);
  const run = trial.run();
  const seen = await watchTrial(trial, watched, run);
  return judgeFault(job, trial.truth, run.departure(), seen, watched.rules, (untilMs) => watchTrial(twinOf(trial, untilMs), watched));
}

/** The same life without the fault: same noise, same visits. @param untilMs what comes later is of no interest. */
function twinOf({ options, startMs, endMs, truth }: Trial, untilMs: number): Trial {
  const settleMs = (truth?.beginMs ?? startMs) - startMs;
  const twin = makeTrial({ ...options, fault: null, startMs, settleMs, watchMs: Math.min(endMs, untilMs) - startMs - settleMs });
  if (twin === null) throw new Error('a healthy life can always be tried');
  return twin;
}
