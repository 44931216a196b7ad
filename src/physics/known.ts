/** A figure, or the reason why there is none. A formula outside its range answers with the reason, never with a number. */
export type Known<T> = { readonly known: true; readonly value: T } | { readonly known: false; readonly why: string };

export function known<T>(value: T): Known<T> {
  return { known: true, value };
}

/** @param why reads after "not known: ", e.g. `the water is at 41 °C, and the formula holds from -2 to 35 °C`. */
export function notKnown(why: string): { readonly known: false; readonly why: string } {
  return { known: false, why };
}

/** `null` where `value` lies within [low, high]; otherwise the sentence that says so. NaN lies nowhere. */
export function outside(what: string, value: number, low: number, high: number, unit: string): string | null {
  if (value >= low && value <= high) return null;
  const space = unit === '' ? '' : ' ';
  return `${what} is ${Number.isFinite(value) ? Number(value.toPrecision(6)) : 'no number'}${space}${unit}, and the formula holds from ${low} to ${high}${space}${unit}`;
}
