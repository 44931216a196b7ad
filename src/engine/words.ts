/** The sentences the engine writes into the journal. */
import type { TransitionReason } from '../alarms/lifecycle.ts';
import type { Alarm, Hold } from '../domain/alarm.ts';
import { showDuration } from '../domain/duration.ts';
import type { ClockState } from '../domain/source-clock.ts';

export function transitionText(reason: TransitionReason, title: string, by: string, alarm: Alarm | null, hold: Hold | null): string {
  switch (reason) {
    case 'condition-true':
      return `${title}: ${alarm?.summary ?? 'alarm'}`;
    case 'condition-true-again':
      return `${title}: in alarm again before anybody acknowledged`;
    case 'condition-false':
      return `${title}: back to normal${alarm?.state === 'returned' ? ', not yet acknowledged' : ''}`;
    case 'acknowledged':
      return `${title}: acknowledged by ${by}`;
    case 'shelved':
      return `${title}: shelved by ${by}${hold?.untilMs ? ` until ${new Date(hold.untilMs).toISOString()}` : ''}: ${hold?.why ?? ''}`;
    case 'suppressed':
      return `${title}: suppressed, ${hold?.why ?? ''}${alarm === null || alarm.summary === '' ? '' : `: ${alarm.summary}`}`;
    case 'explained':
      return `${title}: explained by ${alarm?.cause?.title ?? 'another alarm'}${alarm?.cause?.quiet === false ? ', and more urgent than that' : ''}`;
    case 'cause-over':
      return `${title}: its cause is over, and it is still in alarm`;
    case 'surfaced':
      return `${title}: has outlived its cause: ${alarm?.summary ?? 'alarm'}`;
    case 'taken-out-of-service':
      return `${title}: taken out of service by ${by}: ${hold?.why ?? ''}`;
    case 'unshelved':
      return `${title}: unshelved by ${by}`;
    case 'shelf-expired':
      return `${title}: time on the shelf is over`;
    case 'returned-to-service':
      return `${title}: returned to service by ${by}`;
    case 'rule-removed':
      return `${title}: the rule is no longer in the fleet; alarm ended`;
  }
}

/** @param wasWrongMs since when it was wrong, when it is right again. */
export function clockText(source: string, wasWrongMs: number | null, now: ClockState | null, nowMs: number): string {
  if (now === null) return `The clock of ${source} is right again, after ${showDuration(nowMs - (wasWrongMs ?? nowMs))}: its own times are used`;
  const { leastLagMs } = now;
  return `The clock of ${source} is ${showDuration(Math.abs(leastLagMs))} ${leastLagMs < 0 ? 'ahead' : 'behind'}: its readings are stamped when they arrive, until it is set right`;
}
