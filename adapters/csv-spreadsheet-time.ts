/**
 * Dates as spreadsheets count them: days since the end of 1899 in the "1900 date system" (ECMA-376 Part 1 §18.17.4, from memory).
 * That system has a 29 February 1900, which no calendar has: it is day 60, kept so that old sheets stay right. Hence day 1 is
 * 1900-01-01 and day 61 is 1900-03-01; day 25569 is 1970-01-01.
 */
import { DAY } from '../src/domain/duration.ts';

export type SerialTime =
  /** The clock on the wall, as if it were UTC: a serial date knows no zone. */
  | { readonly ok: true; readonly wallMs: number }
  | { readonly ok: false; readonly reason: string };

const EPOCH_DAY = 25_569;
/** 9999-12-31, the last one spreadsheets show. */
const LAST_DAY = 2_958_465;

/** @param text `46085.520833` with a decimal point, or day and fraction of a day apart, `46085 0.520833`. */
export function readSerialTime(text: string): SerialTime {
  const match = /^(\d{1,7})(?:\.(\d{1,15}))?(?:\s+0?\.(\d{1,15}))?$/.exec(text);
  const [, dayText, ownFraction, apart] = match ?? [];
  if (dayText === undefined || (ownFraction !== undefined && apart !== undefined && Number(ownFraction) !== 0)) {
    return { ok: false, reason: `"${text.slice(0, 40)}" is no spreadsheet date; those are days since 1900 such as 46085.5208` };
  }
  const day = Number(dayText);
  if (day === 60) return { ok: false, reason: `${text} is 29 February 1900, a day that only spreadsheets know` };
  if (day < 1 || day > LAST_DAY) return { ok: false, reason: `${text} is no day that spreadsheets know (1 to ${LAST_DAY})` };
  const digits = apart ?? ownFraction ?? '';
  const wallMs = (day - EPOCH_DAY + (day < 60 ? 1 : 0)) * DAY + fractionMs(digits);
  return { ok: true, wallMs };
}

/** A fraction cut off after some digits stands for the whole second it was made of, where one lies within what was cut off. */
function fractionMs(digits: string): number {
  if (digits === '') return 0;
  const exact = Number(`0.${digits}`) * DAY;
  const second = Math.round(exact / 1000) * 1000;
  const cutOffMs = 10 ** -digits.length * DAY;
  // From half a minute on, what was cut off would hide any second: then it is not made up.
  return cutOffMs < 30_000 && Math.abs(exact - second) <= cutOffMs ? second : Math.round(exact);
}
