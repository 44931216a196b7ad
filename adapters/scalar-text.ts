/** One value written as text: `23.5`, `23.5 °C`, `on`. Shared by every format that meets values in text. */
import { kindsFor, switchValue } from '../src/domain/units.ts';

export type ScalarText =
  | { readonly ok: true; readonly value: number | string; readonly unit: string | null }
  | { readonly ok: false; readonly reason: string };

/** No sensor writes a longer number; anything longer is something else. */
const MAX_LENGTH = 64;

const numberWithUnit = { '.': /^([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)(?:\s*(\S.*))?$/, ',': /^([+-]?(?:\d+,?\d*|,\d+)(?:[eE][+-]?\d+)?)(?:\s*(\S.*))?$/ };
const otherMark = { '.': /^[+-]?\d*,\d+/, ',': /^[+-]?\d*\.\d+/ };
const noValue = /^[+-]?(nan|inf|infinity|null|none|nil|undefined|n\/a|na|unknown|unavailable|error|err|-+)$/i;

/**
 * Reads a number with an optional unit, or an on/off word (kept as text: only the kind of the point knows what to make of it).
 * @param decimalMark of the text; the other one is refused, never guessed.
 */
export function readScalarText(raw: string, decimalMark: '.' | ',' = '.'): ScalarText {
  const text = raw.trim();
  if (text === '') return refuse('is empty; send a number such as 23.5, or nothing at all');
  if (text.length > MAX_LENGTH) return refuse(`is longer than ${MAX_LENGTH} characters; send a bare number such as 23.5`);
  if (noValue.test(text)) return refuse(`"${text}" says that there is no value; send a number, or nothing at all`);
  if (otherMark[decimalMark].test(text)) return refuse(wrongMark(text, decimalMark));
  const match = numberWithUnit[decimalMark].exec(text);
  if (match?.[1] === undefined) {
    return switchValue(text) === null ? refuse(`"${text}" is no number; send a number such as 23.5, or on / off for a switch`) : { ok: true, value: text, unit: null };
  }
  const value = Number(match[1].replace(',', '.'));
  if (!Number.isFinite(value)) return refuse(`"${text}" is too large for a number`);
  const unit = match[2]?.trim() ?? null;
  if (unit !== null && kindsFor(unit).length === 0) return refuse(`"${text}": what stands behind the number, "${unit}", is no known unit; send a bare number and name the unit in the fleet file`);
  // `+ 0` turns -0 into 0.
  return { ok: true, value: value + 0, unit };
}

const refuse = (reason: string): ScalarText => ({ ok: false, reason });

function wrongMark(text: string, decimalMark: '.' | ','): string {
  if ((text.match(/[.,]/g)?.length ?? 0) > 1) return `"${text}" has separators between its digits; send plain digits with one decimal ${decimalMark === '.' ? 'point' : 'comma'}`;
  return decimalMark === '.' ? `"${text}" has a decimal comma; send a decimal point: ${text.replace(',', '.')}` : `"${text}" has a decimal point, but decimal commas were declared`;
}
