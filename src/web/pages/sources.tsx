/** @jsxRuntime automatic @jsxImportSource preact */
import type { RefusalCount } from '../../store/contract.ts';
import { type Viewer, page } from '../layout.tsx';
import type { SourceStatus } from '../options.ts';
import type { Present } from '../present.ts';
import { Shape } from '../shapes.tsx';
import { iso, showAge, showTime } from '../times.ts';
import type { UnclaimedFacts } from '../unclaimed.ts';
import { words } from '../words.ts';
import { UnclaimedList } from './unclaimed.tsx';
import { Value } from './value.tsx';

export interface SourcesFacts {
  readonly viewer: Viewer;
  readonly sources: readonly SourceStatus[];
  readonly refusals: readonly RefusalCount[];
  readonly unclaimed: readonly UnclaimedFacts[];
  readonly siteNameOf: (siteId: string) => string;
  /** What became of an action on this page. */
  readonly outcome: string | null;
  readonly silent: readonly { readonly present: Present; readonly ownerName: string; readonly tankId: string | null; readonly topic: string | null }[];
}

export function sourcesPage({ viewer, sources, refusals, silent, unclaimed, siteNameOf, outcome }: SourcesFacts): string {
  const w = words.sources;
  const whole = unclaimed.filter(({ source }) => !source.partial);
  const rest = unclaimed.filter(({ source }) => source.partial);
  return page({
    viewer,
    title: w.title,
    here: 'sources',
    liveFor: '*',
    children: (
      <>
        <h1>{w.title}</h1>
        {outcome !== null && <p class="done" role="status">{outcome}</p>}
        <section aria-labelledby="connections" data-live="connections">
          <h2 id="connections">{w.connections}</h2>
          {sources.length === 0 ? <p class="muted">{w.noConnections}</p> : (
            <ul class="lines panel">
              {sources.map((source) => (
                <li key={source.name} class={`m-${markOf(source)}`}>
                  <p><Shape mark={markOf(source)} /><strong>{source.name}</strong>{` · ${w.state[source.state]}`}{source.sinceMs !== null && ` ${w.since(showTime(source.sinceMs, viewer.zone, viewer.nowMs))}`}</p>
                  <p class="muted">{source.detail}</p>
                </li>
              ))}
            </ul>
          )}
        </section>
        <section aria-labelledby="unclaimed" data-live="unclaimed">
          <h2 id="unclaimed">{words.unclaimed.title}</h2>
          {whole.length === 0 ? <p class="muted">{words.unclaimed.none}</p> : (
            <>
              <p class="muted">{words.unclaimed.help}</p>
              <UnclaimedList facts={whole} nowMs={viewer.nowMs} siteNameOf={siteNameOf} />
            </>
          )}
          {rest.length > 0 && (
            <details class="panel">
              <summary>{words.unclaimed.rest}</summary>
              <p class="muted">{words.unclaimed.restHelp}</p>
              <UnclaimedList facts={rest} nowMs={viewer.nowMs} siteNameOf={siteNameOf} />
            </details>
          )}
        </section>
        <section aria-labelledby="silent" data-live="silent">
          <h2 id="silent">{w.silent}</h2>
          {silent.length === 0 ? <p class="muted">{w.noSilent}</p> : (
            <ul class="lines panel">
              {silent.map(({ present, ownerName, tankId, topic }) => (
                <li key={present.point.id}>
                  <p>{tankId === null ? ownerName : <a href={`/tanks/${encodeURIComponent(tankId)}`}>{ownerName}</a>}{` · ${present.point.name}`}{topic !== null && <>{' '}<code>{topic}</code></>}</p>
                  <p><Value present={present} nowMs={viewer.nowMs} /></p>
                </li>
              ))}
            </ul>
          )}
        </section>
        <section aria-labelledby="refused" data-live="refused">
          <h2 id="refused">{w.refused}</h2>
          <p class="muted">{w.refusedHelp}</p>
          {refusals.length === 0 ? <p>{w.noRefused}</p> : (
            <table class="cards panel">
              <thead><tr><th scope="col">{w.column.source}</th><th scope="col">{w.column.reason}</th><th scope="col" class="num">{w.column.count}</th><th scope="col">{w.column.last}</th><th scope="col">{w.column.excerpt}</th></tr></thead>
              <tbody>
                {refusals.map((refusal) => (
                  <tr key={refusal.source + refusal.reason}>
                    <th scope="row"><code>{refusal.source}</code>{refusal.pointId !== null && <div class="muted">{refusal.pointId}</div>}</th>
                    <td>{refusal.reason}</td>
                    <td class="num" data-label={w.column.count}>{refusal.count}</td>
                    <td data-label={w.column.last}><time dateTime={iso(refusal.lastMs)}>{showAge(refusal.lastMs, viewer.nowMs)}</time></td>
                    <td data-label={w.column.excerpt}><code>{refusal.excerpt}</code></td>
                  </tr>
                ))}
              </tbody>
            </table>
          )}
        </section>
        <form method="post" action="/sources/reload" class="inline-form"><p>{w.reloadHelp}{' '}<button class="plain">{w.reload}</button></p></form>
      </>
    ),
  });
}

const markOf = (source: SourceStatus): 'ok' | 'quiet' | 'trouble' => (source.state === 'ok' ? 'ok' : source.state === 'idle' ? 'quiet' : 'trouble');
