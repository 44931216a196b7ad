/** @jsxRuntime automatic @jsxImportSource preact */
/**
 * The shape of each state. Colour is never alone: a shape per priority, filled while nobody has acknowledged, hollow once somebody has;
 * other shapes for what is over, held back, unknown, quiet. The word always stands beside it, so shapes are hidden from screen readers.
 */
import type { Alarm, AlarmState, Priority } from '../domain/alarm.ts';
import type { BoardRow, Standing } from './board.ts';

/** Class names double as colours in `style.css`. */
export type Mark = Priority | 'returned' | 'held' | 'unknown' | 'quiet' | 'ok' | 'trouble';

export function Shape({ mark, hollow = false }: { mark: Mark; hollow?: boolean }) {
  return (
    <svg class={`shape m-${mark}${hollow ? ' hollow' : ''}`} viewBox="0 0 20 20" width="20" height="20" aria-hidden="true" focusable="false">
      {outline(mark)}
    </svg>
  );
}

function outline(mark: Mark) {
  switch (mark) {
    case 'urgent':
    case 'trouble': return <path d="M10 1 19 10 10 19 1 10Z" />;
    case 'high': return <path d="M10 2 19 18H1Z" />;
    case 'low': return <path d="M3 3H17V17H3Z" />;
    case 'journal': return <path d="M4 5H16M4 10H16M4 15H12" class="line" />;
    case 'returned': return <path d="M3 11 8 16 17 5" class="line" />;
    case 'held': return <path d="M7 3V17M13 3V17" class="line" />;
    case 'unknown': return <path d="M6 7a4 4 0 1 1 5.5 3.7C10.3 11.3 10 12 10 13M10 16.5V17" class="line" />;
    case 'ok': return <circle cx="10" cy="10" r="4" />;
    case 'quiet': return <circle cx="10" cy="10" r="3" />;
  }
}

export function alarmMark(alarm: Pick<Alarm, 'policy' | 'state'>): { mark: Mark; hollow: boolean } {
  return { mark: markOfState(alarm.state, alarm.policy.priority), hollow: alarm.state === 'acknowledged' };
}

function markOfState(state: AlarmState, priority: Priority): Mark {
  switch (state) {
    case 'unacknowledged':
    case 'acknowledged': return priority;
    case 'returned': return 'returned';
    case 'shelved':
    case 'suppressed':
    case 'out-of-service': return 'held';
    case 'normal': return 'quiet';
  }
}

export function rowMark(row: Pick<BoardRow, 'standing' | 'alarm'>): { mark: Mark; hollow: boolean } {
  if (row.alarm !== null && row.standing !== 'unknown') return alarmMark(row.alarm);
  return { mark: markOfStanding(row.standing), hollow: false };
}

export function markOfStanding(standing: Standing): Mark {
  switch (standing) {
    case 'needs-help': return 'urgent';
    case 'returned': return 'returned';
    case 'acknowledged': return 'high';
    case 'unknown': return 'unknown';
    case 'held': return 'held';
    case 'quiet': return 'quiet';
  }
}
