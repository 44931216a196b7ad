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

export function Explains({ explained, tankNameOf, homeTankId }: { explained: readonly Alarm[]; tankNameOf: (tankId: string) => string; homeTankId: string }) {
  if (explained.length === 0) return null;
  return (
    <section aria-labelledby="explains" data-live="explains">
      <h2 id="explains">{words.causes.explainsAlso}</h2>
      <ul class="lines panel">{explained.map((one) => <ExplainedLine key={one.id} alarm={one} tankName={one.tankId === homeTankId ? null : tankNameOf(one.tankId)} />)}</ul>
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
