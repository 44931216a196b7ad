/** @jsxRuntime automatic @jsxImportSource preact */
/** An alarm's place among causes: what explains it, and what it explains. */
import type { Alarm } from '../../domain/alarm.ts';
import { Shape, alarmMark } from '../shapes.tsx';
import { words } from '../words.ts';

/** Under an alarm's head. The link leaves no trace of an address that holds a token. */
export function ExplainedBy({ alarm }: { alarm: Alarm }) {
  if (alarm.cause === null) return null;
  const { before, after } = words.causes.explainedBy(alarm.cause.quiet, alarm.closedMs === null);
  return <p>{before}<a rel="noreferrer" href={`/alarms/${alarm.cause.alarmId}`}>{alarm.cause.title}</a>{after}</p>;
}

/** A gateway explains the silence of dozens of sensors: what to check must not stand a screen below them. */
const MOST_UNFOLDED = 4;

export function Explains({ explained, tankNameOf, homeTankId }: { explained: readonly Alarm[]; tankNameOf: (tankId: string) => string; homeTankId: string }) {
  if (explained.length === 0) return null;
  const line = (one: Alarm) => <ExplainedLine key={one.id} alarm={one} tankName={one.tankId === homeTankId ? null : tankNameOf(one.tankId)} />;
  const shown = explained.length <= MOST_UNFOLDED + 1 ? explained : explained.slice(0, MOST_UNFOLDED);
  const folded = explained.slice(shown.length);
  return (
    <section aria-labelledby="explains" data-live="explains">
      <h2 id="explains">{words.causes.explainsAlso}</h2>
      <div class="panel">
        <ul class="lines">{shown.map(line)}</ul>
        {folded.length > 0 && <details><summary>{words.causes.more(folded.length)}</summary><ul class="lines">{folded.map(line)}</ul></details>}
      </div>
      <p class="muted">{words.causes.help}</p>
    </section>
  );
}

export function ExplainedLine({ alarm, tankName = null }: { alarm: Alarm; tankName?: string | null }) {
  return (
    <li>
      <p><Shape {...alarmMark(alarm)} /><a rel="noreferrer" href={`/alarms/${alarm.id}`}>{alarm.title}</a>{tankName !== null && <span>{` · ${tankName}`}</span>}</p>
      <p class="muted">{`${words.state[alarm.state]}. ${alarm.summary}`}</p>
    </li>
  );
}
