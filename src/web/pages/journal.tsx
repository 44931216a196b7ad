/** @jsxRuntime automatic @jsxImportSource preact */
import type { Tank } from '../../domain/fleet.ts';
import { type JournalKind, type StoredJournalEntry, journalKinds } from '../../domain/journal.ts';
import { type Viewer, page } from '../layout.tsx';
import { iso, showFullTime } from '../times.ts';
import { words } from '../words.ts';
import { TankSelect } from './tank-select.tsx';

export interface JournalFacts {
  readonly viewer: Viewer;
  readonly tanks: readonly Tank[];
  readonly filter: { readonly tankId: string | null; readonly kinds: readonly JournalKind[]; readonly contains: string; readonly before: string };
  readonly problem: string | null;
  readonly entries: readonly StoredJournalEntry[];
  readonly olderHref: string | null;
  readonly newestHref: string | null;
}

export function journalPage({ viewer, tanks, filter, problem, entries, olderHref, newestHref }: JournalFacts): string {
  const w = words.journal;
  const nameOf = new Map(tanks.map((tank) => [tank.id, tank.name]));
  return page({
    viewer,
    title: w.title,
    here: 'journal',
    children: (
      <>
        <h1>{w.title}</h1>
        <form method="get" action="/journal">
          <div class="fields">
            <TankSelect tanks={tanks} chosen={filter.tankId} none={w.allTanks} />
            <label>{w.contains}<input name="contains" value={filter.contains} maxLength={200} /></label>
            <label>{w.before}<input name="before" value={filter.before} placeholder="2026-11-25T14:00" maxLength={40} /></label>
          </div>
          <fieldset>
            <legend>{w.kinds}</legend>
            {journalKinds.map((kind) => <label key={kind}><input type="checkbox" name="kind" value={kind} checked={filter.kinds.includes(kind)} />{w.kind[kind]}</label>)}
          </fieldset>
          <p><button>{w.filter}</button></p>
        </form>
        {problem !== null && <p class="problem" role="alert">{problem}</p>}
        <p class="muted">{w.zone(viewer.zone)}</p>
        {entries.length === 0 ? <p>{w.none}</p> : (
          <ol class="lines panel journal">
            {entries.map((entry) => (
              <li key={entry.id}>
                <p class="muted"><time dateTime={iso(entry.atMs)}>{showFullTime(entry.atMs, viewer.zone)}</time>{` · ${w.kind[entry.kind]} · ${entry.by}`}</p>
                <p>
                  {entry.tankId !== null && <>{nameOf.has(entry.tankId) ? <a href={`/tanks/${encodeURIComponent(entry.tankId)}`}>{nameOf.get(entry.tankId)}</a> : entry.tankId}{': '}</>}
                  {entry.text}
                  {entry.alarmId !== null && <>{' '}<a class="nowrap" href={`/alarms/${entry.alarmId}`}>{w.alarmLink(entry.alarmId)}</a></>}
                </p>
              </li>
            ))}
          </ol>
        )}
        <p>
          {newestHref !== null && <><a class="button" href={newestHref}>{w.newest}</a>{' '}</>}
          {olderHref !== null && <a class="button" href={olderHref}>{w.older}</a>}
        </p>
      </>
    ),
  });
}
