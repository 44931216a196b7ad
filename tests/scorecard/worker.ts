/** A process that does one trial after another, as they are sent to it. */
import { loadFleets } from './fleets.ts';
import { type Job, runJob, type Score } from './run.ts';

export type Answer = { readonly score: Score } | { readonly failed: string };

const fleets = await loadFleets();

process.on('message', (job: Job) => {
  void runJob(job, fleets).then(
    (score) => answer({ score }),
    (error: unknown) => answer({ failed: `${JSON.stringify(job)}: ${error instanceof Error ? (error.stack ?? error.message) : String(error)}` }),
  );
});
// Ctrl-C reaches everybody at the terminal; the one who sums up says when it is over.
process.on('SIGINT', () => undefined);
process.on('disconnect', () => process.exit(0));
process.send?.('ready');

function answer(of: Answer): void {
  process.send?.(of);
}
