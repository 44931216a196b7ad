/** @jsxRuntime automatic @jsxImportSource preact */
import type { BoardRow, Standing } from '../board.ts';
import { standings } from '../board.ts';
import { type Viewer, page } from '../layout.tsx';
import { Shape, markOfStanding, rowMark } from '../shapes.tsx';
import { iso, showAge, showSince, showTime } from '../times.ts';
import { words } from '../words.ts';
import { LimitStrip, Value, limitsText } from './value.tsx';

export function boardPage({ viewer, rows }: { viewer: Viewer; rows: readonly BoardRow[] }): string {
  return page({
    viewer,
    title: words.board.title,
    here: 'board',
    liveFor: '*',
    children: (
      <div data-live="board">
        <h1>{words.board.title}</h1>
        <Counts rows={rows} />
        {rows.length > 0 && (
          <ol class="board" aria-label={words.board.list}>
            {rows.map((row) => <Row key={row.tank.id} row={row} nowMs={viewer.nowMs} />)}
          </ol>
        )}
      </div>
    ),
  });
}

function Counts({ rows }: { rows: readonly BoardRow[] }) {
  if (rows.length === 0) return <p class="counts">{words.board.noTanks}</p>;
  if (rows.every((row) => row.standing === 'quiet')) return <p class="counts"><Shape mark="quiet" />{words.board.allQuiet(rows.length)}</p>;
  const count = (standing: Standing): number => rows.filter((row) => row.standing === standing).length;
  return (
    <ul class="counts">
      {standings.filter((standing) => count(standing) > 0).map((standing) => (
        <li key={standing} class={`s-${standing}`}>
          <Shape mark={markOfStanding(standing)} hollow={standing === 'acknowledged'} />{words.board.counts(count(standing), standing)}
        </li>
      ))}
    </ul>
  );
}

function Row({ row, nowMs }: { row: BoardRow; nowMs: number }) {
  const { tank, site, alarm } = row;
  const mark = rowMark(row);
  return (
    <li class={`row s-${row.standing} m-${mark.mark}`}>
      <div class="who">
        <h2><a href={`/tanks/${encodeURIComponent(tank.id)}`}>{tank.name}</a></h2>
        <p>{row.clientName} · {site.name}</p>
      </div>
      <div class="state">
        <p class="standing">
          <Shape {...mark} />
          <span>
            <strong>{words.board.standing[row.standing]}</strong>
            {alarm !== null && row.standing !== 'unknown' && <span class="priority">{words.priority[alarm.policy.priority]}</span>}
            {row.sinceMs !== null && (
              <time dateTime={iso(row.sinceMs)}>{words.board.since(showTime(row.sinceMs, site.timeZone, nowMs), showSince(row.sinceMs, nowMs))}</time>
            )}
          </span>
        </p>
        {alarm !== null && (
          <p class="what"><a href={`/alarms/${alarm.id}`}>{alarm.title}</a>{row.alarmTankName !== null && <span>{` ${words.causes.atTank(row.alarmTankName)} `}</span>}{alarm.summary !== '' && <span class="summary">{alarm.summary}</span>}</p>
        )}
        <Details row={row} />
      </div>
      {row.headlines.length > 0 && (
        <ul class="values">
          {row.headlines.map((present) => (
            <li key={present.point.id}>
              <span class="label">{present.point.name}</span>
              <Value present={present} nowMs={nowMs} />
              <span class="limits"><LimitStrip present={present} /><LimitsNote text={present.state === 'current' ? limitsText(present) : null} /></span>
            </li>
          ))}
        </ul>
      )}
      <p class="contact">
        {row.contactMs === null ? words.board.noContact : <time dateTime={iso(row.contactMs)}>{words.board.contact(showAge(row.contactMs, nowMs))}</time>}
      </p>
    </li>
  );
}

const LimitsNote = ({ text }: { text: string | null }) => (text === null ? null : <span>{words.value.limitsAre(text)}</span>);

function Details({ row }: { row: BoardRow }) {
  const parts = [
    row.explained.length > 0 ? words.causes.explains(row.explained.map((one) => one.title)) : null,
    row.otherAlarms.length > 0 ? words.board.moreAlarms(row.otherAlarms.length) : null,
    row.silentPoints.length > 0 ? words.board.silent(row.silentPoints.map((point) => point.name).join(', '), row.silentPoints.length, row.offline) : null,
    row.unknownRules > 0 ? words.board.unknownRules(row.unknownRules) : null,
    row.heldRules > 0 ? words.board.heldRules(row.heldRules) : null,
  ].filter((part) => part !== null);
  return parts.length === 0 ? null : <p class="details">{parts.join(' · ')}</p>;
}
