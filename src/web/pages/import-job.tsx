/** @jsxRuntime automatic @jsxImportSource preact */
import type { Point } from '../../domain/fleet.ts';
import { type ImportJob, rejectedBound } from '../../engine/import-contract.ts';
import { type Viewer, page } from '../layout.tsx';
import { words } from '../words.ts';
import { LeftOut, PerPoint, Refused, ReportFacts } from './import-facts.tsx';

export interface ImportJobFacts {
  readonly viewer: Viewer;
  readonly job: ImportJob;
  readonly points: readonly Point[];
  readonly hasRejected: boolean;
}

/** An import under way, or what came of it. */
export function importJobPage({ viewer, job, points, hasRejected }: ImportJobFacts): string {
  const w = words.import;
  const { state, bytesRead, report, problem } = job.progress();
  const isOver = state !== 'waiting' && state !== 'running';
  const percent = job.bytes === 0 ? 100 : Math.min(100, Math.floor((100 * bytesRead) / job.bytes));
  return page({
    viewer,
    title: w.of[state](job.fileName),
    here: 'import',
    liveFor: '*',
    ...(isOver ? {} : { refreshSeconds: 2 }),
    children: (
      <div data-live="import">
        {/* The page asks again while this stands in it. */}
        <h1 data-live-soon={isOver ? undefined : ''}>{w.of[state](job.fileName)}</h1>
        {state === 'waiting' && <p>{w.waits}</p>}
        {state === 'running' && <p><progress value={percent} max={100} aria-label={w.progress}>{`${percent} %`}</progress> {w.percent(percent)}</p>}
        {problem !== null && <p class="problem" role="alert">{problem}</p>}
        {(state === 'cancelled' || state === 'failed') && report.stored > 0 && <p>{w.stays}</p>}
        <ReportFacts report={report} zone={viewer.zone} isLook={false} />
        {!isOver && <form method="post" action={`/import/${job.id}/cancel`}><button>{w.cancel}</button></form>}
        {isOver && <p><a class="button" href="/import">{w.again}</a></p>}
        <PerPoint report={report} points={points} />
        <LeftOut report={report} />
        {report.refusedTotal > rejectedBound && <p class="muted">{w.listEnds(rejectedBound)}</p>}
        {isOver && <Refused report={report} download={hasRejected ? `/import/${job.id}/rejected.csv` : null} />}
      </div>
    ),
  });
}
