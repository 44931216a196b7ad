/** Date-time texts of RFC 3339 §5.6, strictly: with `Z` or an offset, no local times, no impossible dates. */

export type TimeText = { readonly ok: true; readonly atMs: number } | { readonly ok: false; readonly reason: string };

const pattern = /^(\d{4})-(\d\d)-(\d\d)[Tt ](\d\d):(\d\d):(\d\d)(\.\d+)?(?:([Zz])|([+-])(\d\d):(\d\d))?$/;

/**
 * A leap second (`23:59:60` UTC on the last day of a month) is taken as the second that follows it, as POSIX time does: a clock that
 * counts 86,400 seconds a day has no other place for it. Fractions are rounded to whole milliseconds. `-00:00` is UTC.
 */
export function parseRfc3339(text: string): TimeText {
  const match = pattern.exec(text.trim());
  if (match === null) return { ok: false, reason: `"${short(text)}" is no RFC 3339 time; send one such as 2024-05-01T08:30:00Z` };
  const [year, month, day, hour, minute, second] = match.slice(1, 7).map(Number) as [number, number, number, number, number, number];
  const [, , , , , , , fraction, z, sign, offsetHour, offsetMinute] = match;
  if (z === undefined && sign === undefined) return { ok: false, reason: `"${short(text)}" does not say its time zone; add Z or an offset such as -07:00` };
  const offsetMinutes = sign === undefined ? 0 : (sign === '-' ? -1 : 1) * (Number(offsetHour) * 60 + Number(offsetMinute));
  if (month < 1 || month > 12 || day < 1 || day > daysInMonth(year, month) || hour > 23 || minute > 59 || second > 60 || Number(offsetHour ?? 0) > 23 || Number(offsetMinute ?? 0) > 59) {
    return { ok: false, reason: `"${short(text)}" is no date or time that exists` };
  }
  const wholeMs = Date.UTC(year, month - 1, day, hour, minute, second) - offsetMinutes * 60_000;
  // A second of 60 has rolled over to midnight UTC after the last day of a month, or it is a mistake.
  if (second === 60 && (wholeMs % 86_400_000 !== 0 || new Date(wholeMs).getUTCDate() !== 1)) {
    return { ok: false, reason: `"${short(text)}" has a 60th second that is no leap second` };
  }
  const fractionMs = fraction === undefined ? 0 : Math.round(Number(`0${fraction}`) * 1000);
  return { ok: true, atMs: wholeMs + fractionMs };
}

export function daysInMonth(year: number, month: number): number {
  return new Date(Date.UTC(year, month, 0)).getUTCDate();
}

const short = (text: string): string => (text.length > 40 ? `${text.slice(0, 39)}…` : text);
