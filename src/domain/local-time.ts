/**
 * Wall-clock time of a place and back, by IANA zone (the zone data is the runtime's own, through `Intl`).
 * All zones' offsets are whole minutes in the range of dates Tankbell meets.
 */
export interface LocalParts {
  readonly year: number;
  /** 1–12. */
  readonly month: number;
  readonly day: number;
  readonly hour: number;
  readonly minute: number;
  readonly second: number;
}

/** A wall-clock time belongs to one instant, to none (clocks went forward) or to two (clocks went back). */
export type Instant =
  | { readonly kind: 'one'; readonly atMs: number }
  | { readonly kind: 'gap' }
  | { readonly kind: 'overlap'; readonly firstMs: number; readonly secondMs: number };

const formats = new Map<string, Intl.DateTimeFormat>();

function formatOf(zone: string): Intl.DateTimeFormat {
  let format = formats.get(zone);
  if (format === undefined) {
    format = new Intl.DateTimeFormat('en-US-u-ca-gregory-nu-latn', {
      timeZone: zone, hourCycle: 'h23', year: 'numeric', month: 'numeric', day: 'numeric', hour: 'numeric', minute: 'numeric', second: 'numeric',
    });
    formats.set(zone, format);
  }
  return format;
}

/** Is `zone` an IANA time zone this machine knows? */
export function isTimeZone(zone: string): boolean {
  // Bare offsets are accepted by Intl, but know nothing of summer time: not what a site's zone should be.
  if (/^[+-]/.test(zone)) return false;
  try {
    formatOf(zone);
    return true;
  } catch {
    return false;
  }
}

export function localParts(zone: string, atMs: number): LocalParts {
  const found: Record<string, number> = {};
  for (const part of formatOf(zone).formatToParts(atMs)) {
    if (part.type !== 'literal') found[part.type] = Number(part.value);
  }
  const { year = Number.NaN, month = Number.NaN, day = Number.NaN, hour = Number.NaN, minute = Number.NaN, second = Number.NaN } = found;
  return { year, month, day, hour, minute, second };
}

/** Local time minus UTC at an instant, ms. */
export function offsetMs(zone: string, atMs: number): number {
  const wholeSecond = Math.floor(atMs / 1000) * 1000;
  const p = localParts(zone, wholeSecond);
  return Date.UTC(p.year, p.month - 1, p.day, p.hour, p.minute, p.second) - wholeSecond;
}

/** The instants at which the clocks of `zone` show `parts`. */
export function instantOf(zone: string, parts: LocalParts, millisecond = 0): Instant {
  const asUtc = Date.UTC(parts.year, parts.month - 1, parts.day, parts.hour, parts.minute, parts.second, millisecond);
  // Every offset in force within a day either side; two of them at most differ.
  const offsets = new Set([offsetMs(zone, asUtc - 86_400_000), offsetMs(zone, asUtc + 86_400_000), offsetMs(zone, asUtc)]);
  const found = [...new Set([...offsets].map((offset) => asUtc - offset).filter((atMs) => offsetMs(zone, atMs) === asUtc - atMs))].sort((a, b) => a - b);
  const [firstMs, secondMs] = found;
  if (firstMs === undefined) return { kind: 'gap' };
  return secondMs === undefined ? { kind: 'one', atMs: firstMs } : { kind: 'overlap', firstMs, secondMs };
}

/** Minutes after local midnight, as clocks show it. */
export function minuteOfDay(zone: string, atMs: number): number {
  const { hour, minute } = localParts(zone, atMs);
  return hour * 60 + minute;
}

/** The first instant at or after `fromMs` when the clocks show `minute` (or, in a gap, the first moment after it). */
export function nextAt(zone: string, fromMs: number, minute: number): number {
  const today = localParts(zone, fromMs);
  for (let ahead = 0; ahead <= 2; ahead += 1) {
    const date = new Date(Date.UTC(today.year, today.month - 1, today.day + ahead));
    const parts = { year: date.getUTCFullYear(), month: date.getUTCMonth() + 1, day: date.getUTCDate(), hour: Math.floor(minute / 60), minute: minute % 60, second: 0 };
    const instant = instantOf(zone, parts);
    const atMs = instant.kind === 'one' ? instant.atMs : instant.kind === 'overlap' ? instant.firstMs : gapEnd(zone, parts);
    if (atMs >= fromMs) return atMs;
  }
  throw new Error(`no instant shows minute ${minute} in ${zone} within two days of ${fromMs}`);
}

function gapEnd(zone: string, parts: LocalParts): number {
  for (let minutes = 1; minutes <= 24 * 60; minutes += 1) {
    const later = new Date(Date.UTC(parts.year, parts.month - 1, parts.day, parts.hour, parts.minute + minutes));
    const instant = instantOf(zone, {
      year: later.getUTCFullYear(), month: later.getUTCMonth() + 1, day: later.getUTCDate(), hour: later.getUTCHours(), minute: later.getUTCMinutes(), second: 0,
    });
    if (instant.kind !== 'gap') return instant.kind === 'one' ? instant.atMs : instant.firstMs;
  }
  throw new Error(`a gap of more than a day in ${zone}`);
}

/** `Sat 14 Mar 2026, 02:10 MDT`. */
export function showLocal(zone: string, atMs: number): string {
  const parts = Object.fromEntries(
    new Intl.DateTimeFormat('en-GB', {
      timeZone: zone, weekday: 'short', day: 'numeric', month: 'short', year: 'numeric', hour: '2-digit', minute: '2-digit', hourCycle: 'h23',
    }).formatToParts(atMs).map((part) => [part.type, part.value]),
  );
  return `${parts['weekday']} ${parts['day']} ${parts['month']} ${parts['year']}, ${parts['hour']}:${parts['minute']} ${zoneAbbreviation(zone, atMs)}`;
}

function zoneAbbreviation(zone: string, atMs: number): string {
  const name = new Intl.DateTimeFormat('en-US', { timeZone: zone, timeZoneName: 'short' }).formatToParts(atMs).find((part) => part.type === 'timeZoneName');
  return name?.value ?? zone;
}
