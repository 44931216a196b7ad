/** Hour and weekday where a site stands; time zone offsets are looked up once an hour of simulated time. */
import { DAY, HOUR } from '../../src/domain/duration.ts';

export interface LocalTime {
  /** 0 ≤ hour < 24, with fractions. */
  readonly hour: number;
  /** 0 Sunday … 6 Saturday. */
  readonly weekday: number;
  /** Day of the year, from 0. */
  readonly dayOfYear: number;
}

export type LocalClock = (atMs: number) => LocalTime;

/** @param timeZone IANA name. @throws RangeError for one that does not exist. */
export function localClock(timeZone: string): LocalClock {
  const offsetAt = zoneOffset(timeZone);
  return (atMs) => {
    const local = atMs + offsetAt(atMs);
    const day = Math.floor(local / DAY);
    return { hour: (local - day * DAY) / HOUR, weekday: (day + 4) % 7, dayOfYear: ((day % 365.2425) + 365.2425) % 365.2425 };
  };
}

/** The first time at or after `fromMs` at which the site's clocks show `hour` (whole hours), on `weekday` if given. */
export function nextLocalHour(timeZone: string, fromMs: number, hour: number, weekday: number | null = null): number {
  const clock = localClock(timeZone);
  for (let atMs = Math.ceil(fromMs / HOUR) * HOUR; atMs < fromMs + 9 * DAY; atMs += HOUR) {
    const local = clock(atMs);
    if (Math.floor(local.hour) === hour && (weekday === null || local.weekday === weekday)) return atMs;
  }
  throw new Error(`no ${hour}:00 within nine days in ${timeZone}`);
}

function zoneOffset(timeZone: string): (atMs: number) => number {
  const format = new Intl.DateTimeFormat('en-US', {
    timeZone, hourCycle: 'h23', year: 'numeric', month: 'numeric', day: 'numeric', hour: 'numeric', minute: 'numeric', second: 'numeric',
  });
  let knownHour = Number.NaN;
  let offsetMs = 0;
  return (atMs) => {
    const hour = Math.floor(atMs / HOUR);
    if (hour !== knownHour) {
      const parts = Object.fromEntries(format.formatToParts(hour * HOUR).map((part) => [part.type, Number(part.value)]));
      const { year = 0, month = 0, day = 0, hour: localHour = 0, minute = 0, second = 0 } = parts;
      offsetMs = Date.UTC(year, month - 1, day, localHour, minute, second) - hour * HOUR;
      knownHour = hour;
    }
    return offsetMs;
  };
}
