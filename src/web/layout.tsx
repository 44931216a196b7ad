/** @jsxRuntime automatic @jsxImportSource preact */
/** The frame of every page. */
import type { ComponentChildren } from 'preact';
import { render } from 'preact-render-to-string';
import { iso, showFullTime } from './times.ts';
import { words } from './words.ts';

/** What every page knows about the person who looks at it. */
export interface Viewer {
  /** `null`: not logged in. */
  readonly name: string | null;
  /** Zone of times that belong to no site. */
  readonly zone: string;
  readonly nowMs: number;
  readonly notice: string | null;
  readonly troubles: readonly string[];
  readonly assets: AssetUrls;
}

export interface AssetUrls {
  readonly css: string;
  readonly icon: string;
  readonly live: string;
  readonly charts: string;
}

export interface PageFrame {
  readonly title: string;
  readonly viewer: Viewer;
  readonly here?: keyof typeof words.nav;
  /** Ids that concern the page, for live updates: `*` is everything, else tank ids. Left out: the page is not live. */
  readonly liveFor?: string;
  readonly charts?: boolean;
  /** Without JavaScript the page loads itself again after so long. */
  readonly refreshSeconds?: number;
  readonly children: ComponentChildren;
}

/** A whole document as text. */
export function page(frame: PageFrame): string {
  return `<!doctype html>${render(<Document {...frame} />)}`;
}

const links = [['board', '/'], ['alarms', '/alarms'], ['journal', '/journal'], ['sources', '/sources'], ['import', '/import']] as const;

function Document({ title, viewer, here, liveFor, charts = false, refreshSeconds, children }: PageFrame) {
  const { assets } = viewer;
  return (
    <html lang="en">
      <head>
        <meta charset="utf-8" />
        <title>{`${title} · ${words.product}`}</title>
        <meta name="viewport" content="width=device-width, initial-scale=1" />
        <meta name="color-scheme" content="light dark" />
        <meta name="robots" content="noindex" />
        <link rel="icon" href={assets.icon} type="image/svg+xml" />
        <link rel="stylesheet" href={assets.css} />
        {refreshSeconds !== undefined && <noscript><meta http-equiv="refresh" content={String(refreshSeconds)} /></noscript>}
        {liveFor !== undefined && <script type="module" src={assets.live} />}
        {charts && <script type="module" src={assets.charts} />}
      </head>
      <body data-live-for={liveFor}>
        <a class="skip" href="#content">{words.skip}</a>
        {viewer.notice !== null && <aside class="notice" aria-label={words.notice}>{viewer.notice}</aside>}
        <header class="top">
          <a class="brand" href="/"><Bell />{words.product}</a>
          {viewer.name !== null && (
            <nav aria-label={words.nav.label}>
              <ul>
                {links.map(([key, href]) => <li key={key}><a href={href} aria-current={key === here ? 'page' : undefined}>{words.nav[key]}</a></li>)}
              </ul>
            </nav>
          )}
          {viewer.name !== null && (
            <form class="logout" method="post" action="/logout"><button class="plain" title={viewer.name}>{words.nav.logout}</button></form>
          )}
        </header>
        <main id="content" tabIndex={-1}>
          <div data-live="troubles">
            {viewer.troubles.length > 0 && (
              <section class="troubles" aria-label={words.trouble}>
                {viewer.troubles.map((trouble) => <p key={trouble}>{trouble}</p>)}
              </section>
            )}
          </div>
          {children}
        </main>
        <footer>
          <p id="live-state" class="as-of" data-on={words.live.on} data-off={words.live.off('{time}')} data-connecting={words.live.connecting}>
            <span class="live-word" role="status" /> <time data-live="as-of" dateTime={iso(viewer.nowMs)}>{words.asOf(showFullTime(viewer.nowMs, viewer.zone))}</time>
            {liveFor !== undefined && <noscript> {words.reload}</noscript>}
          </p>
        </footer>
      </body>
    </html>
  );
}

/** A bell over a water line. */
function Bell() {
  return (
    <svg class="bell" viewBox="0 0 24 24" width="22" height="22" aria-hidden="true" focusable="false">
      <path d="M5 14c1.6-1.2 2-3.2 2-5a5 5 0 0 1 10 0c0 1.8.4 3.8 2 5Z" />
      <path class="line" d="M2 18.5q2.5-2 5 0t5 0 5 0 5 0" />
    </svg>
  );
}
