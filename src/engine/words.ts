/** The sentences the engine writes into the journal. */
import type { TransitionReason } from '../alarms/lifecycle.ts';
import type { Alarm, Hold } from '../domain/alarm.ts';

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
      return `${title}: suppressed: ${hold?.why ?? ''}`;
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
