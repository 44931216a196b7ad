/** @jsxRuntime automatic @jsxImportSource preact */
import type { RefusalCount } from '../../store/contract.ts';
import { type Viewer, page } from '../layout.tsx';
import type { SourceStatus } from '../options.ts';
import type { Present } from '../present.ts';
import { Shape } from '../shapes.tsx';
import { iso, showAge, showTime } from '../times.ts';
import type { UnclaimedFacts } from '../unclaimed.ts';
import { showDuration } from '../../domain/duration.ts';
import type { SourceClock } from '../../domain/source-clock.ts';
import { words } from '../words.ts';
import { UnclaimedList } from './unclaimed.tsx';
import { OfflineWhy, Value } from './value.tsx';

export interface SourcesFacts {
  readonly viewer: Viewer;
  readonly sources: readonly SourceStatus[];
  readonly refusals: readonly RefusalCount[];
  readonly unclaimed: readonly UnclaimedFacts[];
  readonly siteNameOf: (siteId: string) => string;
  readonly clocks: readonly SourceClock[];
  /** What became of an action on this page. */
  readonly outcome: string | null;
  readonly silent: readonly { readonly present: Present; readonly ownerName: string; readonly tankId: string | null; readonly topic: string | null }[];
}

export function sourcesPage({ viewer, sources, refusals, silent, unclaimed, siteNameOf, clocks, outcome }: SourcesFacts): string {
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
        <section aria-labelledby="clocks" data-live="clocks">
          <h2 id="clocks">{w.clocks}</h2>
          <Clocks clocks={clocks} viewer={viewer} siteNameOf={siteNameOf} />
        </section>
        <section aria-labelledby="silent" data-live="silent">
          <h2 id="silent">{w.silent}</h2>
          {silent.length === 0 ? <p class="muted">{w.noSilent}</p> : (
            <ul class="lines panel">
              {silent.map(({ present, ownerName, tankId, topic }) => (
                <li key={present.point.id}>
                  <p>{tankId === null ? ownerName : <a href={`/tanks/${encodeURIComponent(tankId)}`}>{ownerName}</a>}{` · ${present.point.name}`}{topic !== null && <>{' '}<code>{topic}</code></>}</p>
                  <p><Value present={present} nowMs={viewer.nowMs} /></p>
                  <OfflineWhy present={present} />
                </li>
              ))}
            </ul>
          )}
        </section>
        <section aria-labelledby="refused" data-live="refused">
          <h2 id="refused">{w.refused}</h2>
          <p class="muted">{w.refusedHelp}</p>
          {refusals.length === 0 ? <p>{w.noRefused}</p> : <p>{w.refusedTotal(refusals.length, refusals.reduce((sum, { count }) => sum + count, 0))}</p>}
          {refusals.length > 0 && (
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

const NEAR_MS = 10_000;

/** Wrong ones first, then those further off; those that are right are only counted. */
function Clocks({ clocks, viewer, siteNameOf }: { clocks: readonly SourceClock[]; viewer: Viewer; siteNameOf: (siteId: string) => string }) {
  const w = words.sources;
  const offOf = ({ behindMs }: SourceClock): number => Math.abs(behindMs ?? 0);
  const far = clocks.filter((clock) => clock.wrongSinceMs !== null || offOf(clock) > NEAR_MS)
    .sort((a, b) => Number(b.wrongSinceMs !== null) - Number(a.wrongSinceMs !== null) || offOf(b) - offOf(a) || (a.source < b.source ? -1 : 1));
  const right = clocks.length - far.length;
  if (clocks.length === 0) return <p class="muted">{w.noClocks}</p>;
  return (
    <>
      {far.length > 0 && (
        <ul class="lines panel">
          {far.map(({ source, siteId, behindMs, wrongSinceMs }) => (
            <li key={source} class={wrongSinceMs === null ? 'm-quiet' : 'm-trouble'}>
              <p><Shape mark={wrongSinceMs === null ? 'quiet' : 'trouble'} /><code>{source}</code>{` · ${siteNameOf(siteId)} · `}<b>{behindMs === null ? w.clockUnknown : w.clockOff(showDuration(Math.abs(behindMs)), behindMs < 0)}</b></p>
              {wrongSinceMs !== null ? <p>{w.clockWrong(showTime(wrongSinceMs, viewer.zone, viewer.nowMs))}</p> : offOf({ source, siteId, behindMs, wrongSinceMs }) > 2 * 60_000 && <p class="muted">{w.clockLate}</p>}
            </li>
          ))}
        </ul>
      )}
      {right > 0 && <p class="muted">{w.clocksRight(right)}</p>}
    </>
  );
}

const markOf = (source: SourceStatus): 'ok' | 'quiet' | 'trouble' => (source.state === 'ok' ? 'ok' : source.state === 'idle' ? 'quiet' : 'trouble');
