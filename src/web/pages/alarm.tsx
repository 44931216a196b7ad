/** @jsxRuntime automatic @jsxImportSource preact */
import type { Alarm, AlarmStatus } from '../../domain/alarm.ts';
import type { Client, Site, Tank } from '../../domain/fleet.ts';
import type { StoredJournalEntry } from '../../domain/journal.ts';
import { show } from '../../domain/units.ts';
import type { Evidence } from '../../domain/verdict.ts';
import type { OutboxPage } from '../../domain/page.ts';
import { type Viewer, page } from '../layout.tsx';
import { Shape, alarmMark } from '../shapes.tsx';
import { iso, showAge, showFullTime, showSince, showTime } from '../times.ts';
import { words } from '../words.ts';
import { type ChartGroup, Charts } from './chart.tsx';
import { ExplainedBy, Explains } from './explained.tsx';
import { HoldFields } from './hold-fields.tsx';
import { SiteFacts } from './site-facts.tsx';
import type { Outcome } from './tank.tsx';

export interface AlarmFacts {
  readonly viewer: Viewer;
  /** With the numbers of now, while it is open. */
  readonly alarm: Alarm;
  readonly atOpening: string;
  /** `null` where the fleet does not know them any more. */
  readonly tank: Tank | null;
  readonly site: Site | null;
  readonly client: Client | null;
  readonly status: AlarmStatus | null;
  readonly firstChecks: readonly string[];
  readonly charts: ChartGroup | null;
  readonly pages: readonly (OutboxPage & { readonly personName: string })[];
  /** Who is told next if nobody acknowledges, and when. */
  readonly nextPage: { readonly personName: string; readonly atMs: number } | null;
  readonly history: readonly StoredJournalEntry[];
  /** What it explains or explained, at the whole site. */
  readonly explained: readonly Alarm[];
  readonly tankNameOf: (tankId: string) => string;
  readonly outcome: Outcome | null;
}

export function alarmPage(facts: AlarmFacts): string {
  const { viewer, alarm, tank, site, client, outcome } = facts;
  const zone = site?.timeZone ?? viewer.zone;
  return page({
    viewer,
    title: `${alarm.title} · ${tank?.name ?? alarm.tankId}`,
    liveFor: alarm.tankId,
    charts: facts.charts !== null,
    children: (
      <>
        <AlarmHead alarm={alarm} tank={tank} clientName={client?.name ?? null} zone={zone} nowMs={viewer.nowMs} />
        {outcome !== null && <p class={outcome.good ? 'done' : 'problem'} role={outcome.good ? 'status' : 'alert'}>{outcome.text}</p>}
        <div class="cols">
          <div>
            {needsAcknowledging(alarm) && (
              <form method="post" action={`/alarms/${alarm.id}/acknowledge`} class="actions" data-live="acknowledge">
                <button class="main">{words.alarm.acknowledge}</button>
                <p class="muted">{words.alarm.acknowledgeHelp}</p>
              </form>
            )}
            <EvidenceList alarm={alarm} atOpening={facts.atOpening} zone={zone} nowMs={viewer.nowMs} />
            <FirstChecks checks={facts.firstChecks} />
            <Explains explained={facts.explained} tankNameOf={facts.tankNameOf} homeTankId={alarm.tankId} />
            {facts.charts !== null && <section aria-labelledby="chart"><h2 id="chart">{words.alarm.chart}</h2><Charts {...facts.charts} /></section>}
          </div>
          <div>
            {site !== null && <SiteFacts site={site} clientName={client?.name ?? null} />}
            {tank !== null && <p><a class="button" href={`/tanks/${encodeURIComponent(tank.id)}`}>{words.alarm.tankLink}</a></p>}
            <Holds alarm={alarm} status={facts.status} zone={zone} nowMs={viewer.nowMs} />
            <Course alarm={alarm} zone={zone} />
            <Pages pages={facts.pages} nextPage={facts.nextPage} zone={zone} nowMs={viewer.nowMs} />
            <History history={facts.history} zone={zone} />
          </div>
        </div>
      </>
    ),
  });
}

/** One that is held back rings nobody: there is nothing to acknowledge until it comes back. */
export const needsAcknowledging = (alarm: Alarm): boolean => alarm.state === 'unacknowledged' || alarm.state === 'returned';

export function AlarmHead({ alarm, tank, clientName, zone, nowMs }: { alarm: Alarm; tank: Tank | null; clientName: string | null; zone: string; nowMs: number }) {
  const mark = alarmMark(alarm);
  const endMs = alarm.returnedMs ?? alarm.closedMs;
  const began = showTime(alarm.beganMs, zone, nowMs);
  return (
    <div data-live="head" class={`m-${mark.mark}`}>
      <h1 class="headline"><Shape {...mark} />{alarm.title}</h1>
      <p>
        <strong>{tank?.name ?? alarm.tankId}</strong>{clientName !== null && ` · ${clientName}`}
      </p>
      <p class="lead">{alarm.summary}</p>
      <p>
        {`${words.priority[alarm.policy.priority]}, ${words.state[alarm.state]} · `}
        <time dateTime={iso(alarm.beganMs)}>
          {endMs === null ? words.board.since(began, showSince(alarm.beganMs, nowMs)) : words.alarms.past1(began, showSince(alarm.beganMs, endMs))}
        </time>
      </p>
      <ExplainedBy alarm={alarm} />
    </div>
  );
}

export function EvidenceList({ alarm, atOpening, zone, nowMs }: { alarm: Alarm; atOpening: string; zone: string; nowMs: number }) {
  if (alarm.evidence.length === 0) return null;
  return (
    <section aria-labelledby="evidence" data-live="evidence">
      <h2 id="evidence">{words.alarm.evidence}</h2>
      <dl class="facts panel">
        {alarm.evidence.map((one) => (
          <>
            <dt>{one.label}</dt>
            <dd>{evidenceValue(one)}{one.atMs !== undefined && <span class="muted">{` (${showTime(one.atMs, zone, nowMs)}, ${showAge(one.atMs, nowMs)})`}</span>}</dd>
          </>
        ))}
      </dl>
      {atOpening !== alarm.summary && <p class="muted">{words.alarm.atOpening(atOpening)}</p>}
    </section>
  );
}

function evidenceValue({ value, kind }: Evidence): string {
  if (typeof value === 'string') return value;
  return kind === undefined ? String(value) : show(kind, value);
}

export function FirstChecks({ checks }: { checks: readonly string[] }) {
  return (
    <section aria-labelledby="checks">
      <h2 id="checks">{words.alarm.firstChecks}</h2>
      {checks.length === 0 ? <p class="muted">{words.alarm.noChecks}</p> : <ol class="checks panel">{checks.map((check) => <li key={check}><span>{check}</span></li>)}</ol>}
      <p class="aid">{words.alarm.aid}</p>
    </section>
  );
}

function Holds({ alarm, status, zone, nowMs }: { alarm: Alarm; status: AlarmStatus | null; zone: string; nowMs: number }) {
  const hold = status?.hold ?? null;
  if (hold !== null) {
    return (
      <section class="actions" data-live="holds">
        <p>{words.rule.held(words.hold[hold.kind], hold.by, showTime(hold.sinceMs, zone, nowMs), hold.untilMs === null ? null : showTime(hold.untilMs, zone, nowMs), hold.why)}</p>
        {hold.kind !== 'suppressed' && (
          <form method="post" action={`/alarms/${alarm.id}/${hold.kind === 'shelved' ? 'unshelve' : 'return-to-service'}`}>
            <button>{hold.kind === 'shelved' ? words.alarm.unshelve : words.alarm.returnToService}</button>
          </form>
        )}
      </section>
    );
  }
  // Without a live status the rule is gone: there is nothing to hold back.
  if (status === null || alarm.closedMs !== null) return null;
  return (
    <section class="actions" aria-label={words.alarm.actions} data-live="holds">
      <details class="panel">
        <summary>{words.alarm.shelve}</summary>
        <p class="muted">{words.alarm.shelveHelp}</p>
        <form method="post" action={`/alarms/${alarm.id}/shelve`} class="stack"><HoldFields idPrefix="shelve" /><button>{words.alarm.shelve}</button></form>
      </details>
      <details class="panel">
        <summary>{words.alarm.takeOut}</summary>
        <p class="muted">{words.alarm.takeOutHelp}</p>
        <form method="post" action={`/alarms/${alarm.id}/out-of-service`} class="stack"><HoldFields idPrefix="out" withSpan={false} /><button>{words.alarm.takeOut}</button></form>
      </details>
    </section>
  );
}

function Course({ alarm, zone }: { alarm: Alarm; zone: string }) {
  const { alarm: w } = words;
  const at = (ms: number | null): string => (ms === null ? w.notYet : showFullTime(ms, zone));
  return (
    <dl class="facts panel" data-live="course">
      <dt>{w.began}</dt><dd>{at(alarm.beganMs)}</dd>
      <dt>{w.opened}</dt><dd>{at(alarm.openedMs)}</dd>
      <dt>{w.acknowledged}</dt>
      <dd>{alarm.acknowledgedMs === null || alarm.acknowledgedBy === null ? at(alarm.acknowledgedMs) : w.acknowledgedBy(alarm.acknowledgedBy, at(alarm.acknowledgedMs))}</dd>
      <dt>{w.returned}</dt><dd>{at(alarm.returnedMs)}</dd>
      <dt>{w.closed}</dt><dd>{at(alarm.closedMs)}</dd>
    </dl>
  );
}

function Pages({ pages, nextPage, zone, nowMs }: { pages: AlarmFacts['pages']; nextPage: AlarmFacts['nextPage']; zone: string; nowMs: number }) {
  const { alarm: w } = words;
  return (
    <section aria-labelledby="pages" data-live="pages">
      <h2 id="pages">{w.pages}</h2>
      {nextPage !== null && <p>{w.nextPage(nextPage.personName, showTime(nextPage.atMs, zone, nowMs))}</p>}
      {pages.length === 0 ? <p class="muted">{w.noPages}</p> : (
        <ul class="lines panel">
          {pages.map((one) => (
            <li key={one.id}>
              <p>{`${one.personName} · ${w.pageReason[one.reason]}`}</p>
              <p class={one.state === 'refused' ? 'value outside' : 'muted'}>
                {`${w.pageState[one.state]}, ${showTime(one.handedOverMs ?? one.createdMs, zone, nowMs)}${one.attempts > 1 ? `, ${w.pageTry(one.attempts)}` : ''}`}
                {one.lastError !== null && one.state !== 'handed-over' && `, ${w.lastError(one.lastError)}`}
              </p>
            </li>
          ))}
        </ul>
      )}
    </section>
  );
}

function History({ history, zone }: { history: readonly StoredJournalEntry[]; zone: string }) {
  return (
    <section aria-labelledby="history" data-live="history">
      <h2 id="history">{words.alarm.history}</h2>
      {history.length === 0 ? <p class="muted">{words.alarm.noHistory}</p> : (
        <ol class="lines panel">
          {history.map((entry) => <li key={entry.id}><p>{entry.text}</p><p class="muted"><time dateTime={iso(entry.atMs)}>{showFullTime(entry.atMs, zone)}</time>{` · ${entry.by}`}</p></li>)}
        </ol>
      )}
    </section>
  );
}
