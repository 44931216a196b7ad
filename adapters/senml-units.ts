/**
 * Units of the SenML registry (RFC 8428 §12.1, and the secondary units of RFC 8798, the latter from memory) in our words, where they differ or where the
 * same letter means another thing: in SenML "C" is the coulomb and "F" the farad.
 */
const ours: Readonly<Record<string, string>> = {
  'l/s': 'L/s', 'l/min': 'L/min', 'l/h': 'L/h', '%EL': '%', '/100': '%', degC: '°C', degF: '°F',
};

const misleading: Readonly<Record<string, string>> = {
  C: 'in SenML "C" is the coulomb; degrees Celsius are written "Cel"',
  F: 'in SenML "F" is the farad; convert to degrees Celsius, written "Cel"',
};

export type SenmlUnit = { readonly ok: true; readonly unit: string | null } | { readonly ok: false; readonly reason: string };

/** Units that are unknown here pass as they are: whoever takes the sample in says whether they fit. */
export function unitOfSenml(unit: string | null): SenmlUnit {
  if (unit === null || unit === '') return { ok: true, unit: null };
  if (Object.hasOwn(misleading, unit)) return { ok: false, reason: misleading[unit] ?? '' };
  return { ok: true, unit: Object.hasOwn(ours, unit) ? (ours[unit] ?? unit) : unit };
}

/** A sum is a value times seconds (RFC 8428 §4.3): of watts joules, of litres a second litres. */
const sums: Readonly<Record<string, string>> = { W: 'J', 'l/s': 'L', 'm3/s': 'm3' };

export function unitOfSum(unit: string | null): SenmlUnit {
  const sum = unit === null ? undefined : sums[unit];
  return sum === undefined
    ? { ok: false, reason: `a sum of ${unit === null ? 'values without a unit' : `"${unit.slice(0, 16)}"`} is no quantity that is kept; sums are read of ${Object.keys(sums).join(', ')}` }
    : { ok: true, unit: sum };
}
