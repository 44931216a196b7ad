/** @jsxRuntime automatic @jsxImportSource preact */
/** The counts of an import, or of what one would do, and the lines it refuses. */
import type { Point } from '../../domain/fleet.ts';
import type { ImportReport } from '../../engine/import-contract.ts';
import { showFullTime } from '../times.ts';
import { words } from '../words.ts';

/** Refused lines shown on a page; the whole list can be downloaded. */
const SHOWN = 100;

export function ReportFacts({ report, zone, isLook }: { readonly report: ImportReport; readonly zone: string; readonly isLook: boolean }) {
  const w = words.import;
  return (
    <dl class="facts panel">
      <dt>{w.rows}</dt><dd>{report.rowsRead}</dd>
      <dt>{isLook ? w.accepted : w.stored}</dt><dd>{report.stored}</dd>
      {!isLook && <><dt>{w.known}</dt><dd>{report.alreadyKnown}</dd></>}
      <dt>{w.refused}</dt><dd class={report.refusedTotal > 0 ? 'value outside' : undefined}><b>{report.refusedTotal}</b></dd>
      <dt>{w.missing}</dt><dd>{report.missing}</dd>
      {report.span !== null && <><dt>{w.span}</dt><dd>{`${showFullTime(report.span.fromMs, zone)} – ${showFullTime(report.span.toMs, zone)}`}</dd></>}
    </dl>
  );
}

export function PerPoint({ report, points }: { readonly report: ImportReport; readonly points: readonly Point[] }) {
  const w = words.import;
  if (report.perPoint.length === 0) return null;
  const nameOf = (id: string): string => points.find((point) => point.id === id)?.name ?? id;
  return (
    <section aria-labelledby="per-point">
      <h2 id="per-point">{w.perPoint}</h2>
      <dl class="facts panel">
        {report.perPoint.map(({ label, pointId, readings }) => <><dt>{label === pointId ? nameOf(pointId) : w.from(label, nameOf(pointId))}</dt><dd>{readings}</dd></>)}
      </dl>
    </section>
  );
}

/** What the file holds and no point got. */
export function LeftOut({ report }: { readonly report: ImportReport }) {
  const w = words.import;
  if (report.leftOut.length === 0) return null;
  return (
    <section aria-labelledby="left-out">
      <h2 id="left-out">{w.leftOut}</h2>
      <p class="muted">{w.leftOutTotal(report.leftOutTotal)}</p>
      <dl class="facts panel">
        {report.leftOut.map(({ label, values, why }) => <><dt>{label}</dt><dd>{values}{why === 'nowhere' && ` · ${w.leftOutNowhere}`}</dd></>)}
      </dl>
    </section>
  );
}

export function Refused({ report, download }: { readonly report: ImportReport; readonly download: string | null }) {
  const w = words.import;
  if (report.refused.length === 0) return null;
  const shown = report.refused.slice(0, SHOWN);
  return (
    <section aria-labelledby="refused">
      <h2 id="refused">{w.refused}</h2>
      {download !== null && <p><a class="button" href={download} download>{w.download}</a></p>}
      {shown.length < report.refusedTotal && <p class="muted">{w.first(shown.length, report.refusedTotal)}</p>}
      <table class="panel wrapped">
        <thead><tr><th scope="col" class="num">{w.column.line}</th><th scope="col">{w.column.reason}</th></tr></thead>
        <tbody>{shown.map(({ line, reason }) => <tr key={`${line} ${reason}`}><td class="num">{line}</td><td>{reason}</td></tr>)}</tbody>
      </table>
    </section>
  );
}
