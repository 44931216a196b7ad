/** @jsxRuntime automatic @jsxImportSource preact */
import type { Tank } from '../../domain/fleet.ts';
import type { ImportJob } from '../../engine/import-contract.ts';
import { type Viewer, page } from '../layout.tsx';
import { iso, showTime } from '../times.ts';
import { words } from '../words.ts';

export interface ImportFormFacts {
  readonly viewer: Viewer;
  readonly tanks: readonly Tank[];
  readonly tankId: string | null;
  readonly problem: string | null;
  readonly jobs: readonly ImportJob[];
}

/** Where it begins: a file and its tank. Everything else is asked for once the file has been read. */
export function importPage({ viewer, tanks, tankId, problem, jobs }: ImportFormFacts): string {
  const w = words.import;
  return page({
    viewer,
    title: w.title,
    here: 'import',
    liveFor: '*',
    children: (
      <section class="narrow">
        <h1>{w.title}</h1>
        <p>{w.help}</p>
        {problem !== null && <p class="problem" role="alert">{problem}</p>}
        <form method="post" action="/import" encType="multipart/form-data" class="stack">
          <label>{w.tank}
            <select name="tank">
              <option value="">{w.noTank}</option>
              {tanks.map((tank) => <option key={tank.id} value={tank.id} selected={tank.id === tankId}>{tank.name}</option>)}
            </select>
          </label>
          {/* Last, so that everything above has arrived when the file begins. */}
          <label>{w.file}<input type="file" name="file" accept=".csv,.txt,.tsv,text/csv,text/plain" required /></label>
          <button class="main">{w.check}</button>
        </form>
        <div data-live="jobs">
          {jobs.length > 0 && (
            <section aria-labelledby="jobs">
              <h2 id="jobs">{w.jobs}</h2>
              <ul class="lines panel">
                {jobs.map((job) => (
                  <li key={job.id}>
                    <a href={`/import/${job.id}`}>{job.fileName}</a>: {w.state[job.progress().state]}
                    <p class="muted">{job.by}, <time dateTime={iso(job.askedMs)}>{showTime(job.askedMs, viewer.zone, viewer.nowMs)}</time></p>
                  </li>
                ))}
              </ul>
            </section>
          )}
        </div>
      </section>
    ),
  });
}
