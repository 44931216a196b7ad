/** @jsxRuntime automatic @jsxImportSource preact */
import type { Alarm } from '../../domain/alarm.ts';
import type { Tank } from '../../domain/fleet.ts';
import type { CauseTree } from '../causes.ts';
import { type Viewer, page } from '../layout.tsx';
import { words } from '../words.ts';
import { AlarmLine, type AlarmPlace } from './alarm-line.tsx';
import { TankSelect } from './tank-select.tsx';

export interface AlarmsFacts {
  readonly viewer: Viewer;
  readonly tanks: readonly Tank[];
  readonly tankId: string | null;
  readonly open: readonly CauseTree[];
  readonly past: readonly CauseTree[];
  /** Address of the list of older ones, if there are more. */
  readonly olderHref: string | null;
  readonly placeOf: (alarm: Alarm) => AlarmPlace;
}

export function alarmsPage({ viewer, tanks, tankId, open, past, olderHref, placeOf }: AlarmsFacts): string {
  const list = (trees: readonly CauseTree[], none: string) =>
    trees.length === 0 ? <p class="muted">{none}</p> : (
      <ul class="lines panel">{trees.map(({ alarm, explained }) => <AlarmLine key={alarm.id} alarm={alarm} explained={explained} place={placeOf(alarm)} nowMs={viewer.nowMs} />)}</ul>
    );
  const returned = open.filter(({ alarm }) => alarm.state === 'returned').length;
  return page({
    viewer,
    title: words.alarms.title,
    here: 'alarms',
    liveFor: tankId ?? '*',
    children: (
      <>
        <h1>{words.alarms.title}</h1>
        <form method="get" action="/alarms" class="fields">
          <TankSelect tanks={tanks} chosen={tankId} none={words.alarms.allTanks} />
          <div><button>{words.alarms.filter}</button></div>
        </form>
        <section aria-labelledby="open" data-live="open">
          <h2 id="open">{words.alarms.open}</h2>
          {returned > 0 && (
            <form method="post" action="/alarms/acknowledge-returned">
              {tankId !== null && <input type="hidden" name="tank" value={tankId} />}
              <button>{words.alarms.acknowledgeReturned(returned)}</button>
            </form>
          )}
          {list(open, words.alarms.noneOpen)}
        </section>
        <section aria-labelledby="past" data-live="past"><h2 id="past">{words.alarms.past}</h2>{list(past, words.alarms.nonePast)}</section>
        {olderHref !== null && <p><a class="button" href={olderHref}>{words.alarms.older}</a></p>}
      </>
    ),
  });
}
