/** @jsxRuntime automatic @jsxImportSource preact */
/** One alarm in a list: shape, words, since when, where. */
import type { Alarm } from '../../domain/alarm.ts';
import { Shape, alarmMark } from '../shapes.tsx';
import { iso, showSince, showTime } from '../times.ts';
import { words } from '../words.ts';
import { ExplainedBy, ExplainedLine } from './explained.tsx';

export interface AlarmPlace {
  /** `null`: the tank is not part of the fleet any more. */
  readonly tankName: string | null;
  readonly zone: string;
}

export function AlarmLine({ alarm, explained = [], place, nowMs, showTank = true }: { alarm: Alarm; explained?: readonly Alarm[]; place: AlarmPlace; nowMs: number; showTank?: boolean }) {
  const mark = alarmMark(alarm);
  const endMs = alarm.returnedMs ?? alarm.closedMs;
  const began = showTime(alarm.beganMs, place.zone, nowMs);
  return (
    <li class={`alarm-line m-${mark.mark}`}>
      <p>
        <Shape {...mark} />
        <a href={`/alarms/${alarm.id}`}><strong>{alarm.title}</strong></a>
        {showTank && <span>{` · ${place.tankName ?? alarm.tankId}`}</span>}
      </p>
      <p>{`${words.priority[alarm.policy.priority]}, ${words.state[alarm.state]}. ${alarm.summary}`}</p>
      <p class="muted">
        <time dateTime={iso(alarm.beganMs)}>
          {endMs === null ? words.alarms.began(began, showSince(alarm.beganMs, nowMs)) : words.alarms.past1(began, showSince(alarm.beganMs, endMs))}
        </time>
        {`, ${alarm.acknowledgedBy === null ? words.alarms.nobody : words.alarms.by(alarm.acknowledgedBy)}`}
      </p>
      <ExplainedBy alarm={alarm} />
      {explained.length > 0 && (
        <details>
          <summary>{words.causes.explains(explained.map((one) => one.title))}</summary>
          <ul class="lines">{explained.map((one) => <ExplainedLine key={one.id} alarm={one} />)}</ul>
        </details>
      )}
    </li>
  );
}
