/** @jsxRuntime automatic @jsxImportSource preact */
import type { Tank } from '../../domain/fleet.ts';
import { type DateOrder, type ImportReport, dateOrders } from '../../engine/import-contract.ts';
import { type Viewer, page } from '../layout.tsx';
import { showFullTime } from '../times.ts';
import { words } from '../words.ts';

export interface ImportSettings {
  readonly tankId: string | null;
  readonly timeZone: string | null;
  readonly dateOrder: DateOrder | null;
  readonly timeFormat: 's' | 'ms' | null;
  readonly decimalComma: boolean;
}

export interface ImportFormFacts {
  readonly viewer: Viewer;
  readonly tanks: readonly Tank[];
  readonly settings: ImportSettings;
  readonly problem: string | null;
}

export function importPage({ viewer, tanks, settings, problem }: ImportFormFacts): string {
  const w = words.import;
  return page({
    viewer,
    title: w.title,
    here: 'import',
    children: (
      <section class="narrow">
        <h1>{w.title}</h1>
        <p>{w.help}</p>
        {problem !== null && <p class="problem" role="alert">{problem}</p>}
        <form method="post" action="/import" encType="multipart/form-data" class="stack">
          <label>{w.tank}
            <select name="tank">
              <option value="">{w.noTank}</option>
              {tanks.map((tank) => <option key={tank.id} value={tank.id} selected={tank.id === settings.tankId}>{tank.name}</option>)}
            </select>
          </label>
          <label>{w.timeZone}<input name="timeZone" value={settings.timeZone ?? ''} maxLength={60} autocomplete="off" placeholder={w.timeZoneOfSite} /></label>
          <label>{w.dateOrder}
            <select name="dateOrder">
              <option value="">{w.noDateOrder}</option>
              {dateOrders.map((order) => <option key={order} value={order} selected={order === settings.dateOrder}>{w.dateOrders[order]}</option>)}
            </select>
          </label>
          <label>{w.timeFormat}
            <select name="timeFormat">
              <option value="">{w.noTimeFormat}</option>
              {(['s', 'ms'] as const).map((format) => <option key={format} value={format} selected={format === settings.timeFormat}>{w.timeFormats[format]}</option>)}
            </select>
          </label>
          <label><input type="checkbox" name="decimalComma" value="yes" checked={settings.decimalComma} />{w.decimalComma}</label>
          {/* Last, so that everything above has arrived when the file begins. */}
          <label>{w.file}<input type="file" name="file" accept=".csv,.txt,.tsv,text/csv,text/plain" required /></label>
          <button class="main">{w.check}</button>
        </form>
      </section>
    ),
  });
}

export interface ImportReportFacts {
  readonly viewer: Viewer;
  readonly fileName: string;
  readonly report: ImportReport;
  /** Where to say "import now"; `null` when it has been done. */
  readonly runPath: string | null;
  readonly nameOf: (pointId: string) => string;
}

export function importReportPage({ viewer, fileName, report, runPath, nameOf }: ImportReportFacts): string {
  const w = words.import;
  const title = runPath === null ? w.result(fileName) : w.report(fileName);
  return page({
    viewer,
    title,
    here: 'import',
    children: (
      <>
        <h1>{title}</h1>
        <dl class="facts panel">
          <dt>{w.rows}</dt><dd>{report.rowsRead}</dd>
          <dt>{runPath === null ? w.stored : w.accepted}</dt><dd>{report.stored}</dd>
          <dt>{w.known}</dt><dd>{report.alreadyKnown}</dd>
          <dt>{w.refused}</dt><dd class={report.refusedTotal > 0 ? 'value outside' : undefined}><b>{report.refusedTotal}</b></dd>
          {report.span !== null && <><dt>{w.span}</dt><dd>{`${showFullTime(report.span.fromMs, viewer.zone)} – ${showFullTime(report.span.toMs, viewer.zone)}`}</dd></>}
        </dl>
        {runPath !== null && report.stored === 0 && <p>{w.nothing}</p>}
        {runPath !== null && report.stored > 0 && <form method="post" action={runPath}><button class="main">{w.run}</button></form>}
        <p><a class="button" href="/import">{w.again}</a></p>
        {report.perPoint.length > 0 && (
          <section aria-labelledby="per-point">
            <h2 id="per-point">{w.perPoint}</h2>
            <dl class="facts panel">{report.perPoint.map(({ pointId, readings }) => <><dt>{nameOf(pointId)}</dt><dd>{readings}</dd></>)}</dl>
          </section>
        )}
        {report.refused.length > 0 && (
          <section aria-labelledby="refused">
            <h2 id="refused">{w.refused}</h2>
            {report.refused.length < report.refusedTotal && <p class="muted">{w.first(report.refused.length, report.refusedTotal)}</p>}
            <table class="panel">
              <thead><tr><th scope="col" class="num">{w.column.line}</th><th scope="col">{w.column.reason}</th></tr></thead>
              <tbody>{report.refused.map(({ line, reason }) => <tr key={`${line} ${reason}`}><td class="num">{line}</td><td>{reason}</td></tr>)}</tbody>
            </table>
          </section>
        )}
      </>
    ),
  });
}
