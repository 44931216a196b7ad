/** Trials spread over processes, one at a time each. */
import { type ChildProcess, fork } from 'node:child_process';
import { join } from 'node:path';
import type { Job, Score } from './run.ts';
import type { Answer } from './worker.ts';

/** In the order of the jobs, whoever did them; after `enough` is aborted, those that were done by then. @throws Error when a trial cannot be run, with its options. */
export async function runAll(jobs: readonly Job[], workers: number, onDone: (done: number) => void, enough: AbortSignal): Promise<readonly Score[]> {
  const scores: (Score | undefined)[] = new Array<Score | undefined>(jobs.length).fill(undefined);
  let next = 0;
  let done = 0;
  const processes: ChildProcess[] = [];
  try {
    await Promise.all(Array.from({ length: Math.min(workers, jobs.length) }, () => new Promise<void>((resolve, reject) => {
      const child = fork(join(import.meta.dirname, 'worker.ts'), [], { stdio: ['ignore', 'ignore', 'inherit', 'ipc'] });
      processes.push(child);
      let current: number | null = null;
      const more = (): void => {
        const job = enough.aborted ? undefined : jobs[next];
        current = job === undefined ? null : next;
        next += 1;
        if (job === undefined) resolve();
        else child.send(job);
      };
      enough.addEventListener('abort', () => resolve());
      child.on('error', reject);
      child.on('exit', (code) => {
        if (current !== null && !enough.aborted) reject(new Error(`a worker ended with ${code} at ${JSON.stringify(jobs[current])}`));
      });
      child.on('message', (message: 'ready' | Answer) => {
        if (message !== 'ready') {
          if ('failed' in message) return void reject(new Error(message.failed));
          if (current !== null) scores[current] = message.score;
          done += 1;
          onDone(done);
        }
        more();
      });
    })));
  } finally {
    for (const child of processes) if (child.connected) child.disconnect();
  }
  return scores.filter((score) => score !== undefined);
}
