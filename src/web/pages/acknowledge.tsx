/** @jsxRuntime automatic @jsxImportSource preact */
/** The page behind the link in a message: one alarm, one button, no login. Reading it changes nothing. */
import type { Alarm } from '../../domain/alarm.ts';
import type { Client, Person, Site, Tank } from '../../domain/fleet.ts';
import { type Viewer, page } from '../layout.tsx';
import { showTime } from '../times.ts';
import { words } from '../words.ts';
import { AlarmHead, EvidenceList, FirstChecks, needsAcknowledging } from './alarm.tsx';
import { type ChartGroup, Charts } from './chart.tsx';
import { Explains } from './explained.tsx';
import { SiteFacts } from './site-facts.tsx';
import type { Outcome } from './tank.tsx';

export interface AcknowledgeFacts {
  readonly viewer: Viewer;
  /** With the numbers of now, while it is open. */
  readonly alarm: Alarm;
  readonly atOpening: string;
  readonly person: Person;
  readonly tank: Tank | null;
  readonly site: Site | null;
  readonly client: Client | null;
  readonly firstChecks: readonly string[];
  readonly charts: ChartGroup | null;
  readonly outcome: Outcome | null;
  readonly explained: readonly Alarm[];
  readonly tankNameOf: (tankId: string) => string;
}

export function acknowledgePage({ explained, tankNameOf, viewer, alarm, atOpening, person, tank, site, client, firstChecks, charts, outcome }: AcknowledgeFacts): string {
  const w = words.acknowledge;
  const zone = site?.timeZone ?? viewer.zone;
  return page({
    viewer,
    title: w.title,
    children: (
      <>
        <AlarmHead alarm={alarm} tank={tank} clientName={client?.name ?? null} zone={zone} nowMs={viewer.nowMs} />
        {outcome !== null && <p class={outcome.good ? 'done' : 'problem'} role={outcome.good ? 'status' : 'alert'}>{outcome.text}</p>}
        {alarm.acknowledgedMs !== null && alarm.acknowledgedBy !== null && <p class="done">{w.already(alarm.acknowledgedBy, showTime(alarm.acknowledgedMs, zone, viewer.nowMs))}</p>}
        {alarm.closedMs !== null && <p class="done">{w.over}</p>}
        {needsAcknowledging(alarm) && (
          // No action: the form posts to the address it stands on, which holds the token.
          <form method="post" class="actions">
            <button class="main">{w.button(person.name)}</button>
            <p class="muted">{w.explain}</p>
          </form>
        )}
        <div class="cols">
          <div>
            <Explains explained={explained} tankNameOf={tankNameOf} homeTankId={alarm.tankId} />
            <EvidenceList alarm={alarm} atOpening={atOpening} zone={zone} nowMs={viewer.nowMs} />
            <FirstChecks checks={firstChecks} />
            {charts !== null && <section aria-labelledby="chart"><h2 id="chart">{words.alarm.chart}</h2><Charts {...charts} /></section>}
          </div>
          <div>
            {site !== null && <SiteFacts site={site} clientName={client?.name ?? null} />}
            <p><a class="button" rel="noreferrer" href={`/alarms/${alarm.id}`}>{w.login}</a></p>
          </div>
        </div>
      </>
    ),
  });
}

export function deadLinkPage({ viewer, why }: { viewer: Viewer; why: string }): string {
  return page({
    viewer,
    title: words.acknowledge.title,
    children: (
      <section class="narrow">
        <h1>{words.acknowledge.title}</h1>
        <p class="problem" role="alert">{why}</p>
        <p><a class="button" href="/login">{words.login.title}</a></p>
      </section>
    ),
  });
}
