/**
 * Conversion at the border: from the unit a source sends to the canonical unit of the kind.
 * Everything inside is canonical; nothing else converts.
 *
 * Sources of the factors: inch 25.4 mm and US gallon 3.785411784 L exactly (NIST SP 811, appendix B; from memory);
 * °C = (°F − 32) / 1.8 (same). Unit codes such as "Cel" and "S/m" are those of the SenML registry (RFC 8428 §12.1; from memory).
 */
import { type Kind, kinds } from './kinds.ts';

export const LITRES_PER_US_GALLON = 3.785411784;

interface Scale {
  readonly factor: number;
  readonly offset: number;
}

const by = (factor: number, offset = 0): Scale => ({ factor, offset });

const length = { mm: by(1), cm: by(10), m: by(1000), in: by(25.4), inch: by(25.4) };
const volume = { L: by(1), l: by(1), mL: by(0.001), ml: by(0.001), gal: by(LITRES_PER_US_GALLON), 'US gal': by(LITRES_PER_US_GALLON), m3: by(1000) };

const accepted: Record<Kind, Readonly<Record<string, Scale>>> = {
  temperature: { '°C': by(1), C: by(1), Cel: by(1), degC: by(1), '°F': by(1 / 1.8, -32 / 1.8), F: by(1 / 1.8, -32 / 1.8), degF: by(1 / 1.8, -32 / 1.8), K: by(1, -273.15) },
  level: length,
  fill: { '%': by(1), '/': by(100) },
  volume,
  conductivity: { 'mS/cm': by(1), 'µS/cm': by(0.001), 'μS/cm': by(0.001), 'uS/cm': by(0.001), 'S/m': by(10), 'S/cm': by(1000) },
  power: { W: by(1), kW: by(1000), mW: by(0.001) },
  current: { A: by(1), mA: by(0.001) },
  energy: { kWh: by(1), Wh: by(0.001), MWh: by(1000), J: by(1 / 3.6e6) },
  voltage: { V: by(1), mV: by(0.001), kV: by(1000) },
  flow: { 'L/h': by(1), 'L/min': by(60), 'L/s': by(3600), 'gal/h': by(LITRES_PER_US_GALLON), gph: by(LITRES_PER_US_GALLON), 'gal/min': by(60 * LITRES_PER_US_GALLON), 'm3/h': by(1000), 'm3/s': by(3.6e6) },
  humidity: { '%RH': by(1), '%': by(1) },
  acidity: { pH: by(1) },
  switch: { 'on/off': by(1) },
};

/** Units a kind accepts, for messages: `°C, C, Cel, °F, …`. */
export function unitsOf(kind: Kind): readonly string[] {
  return Object.keys(accepted[kind]);
}

/** Kinds that accept a unit text, for "did you mean another kind?" messages. */
export function kindsFor(unit: string): readonly Kind[] {
  return (Object.keys(accepted) as Kind[]).filter((kind) => Object.hasOwn(accepted[kind], unit));
}

/**
 * @param unit as the source writes it; `null` means "already canonical".
 * @returns a converter into the canonical unit of `kind`, or `null` when the kind does not know the unit.
 */
export function converter(kind: Kind, unit: string | null): ((value: number) => number) | null {
  const scale = unit === null ? by(1) : Object.hasOwn(accepted[kind], unit) ? accepted[kind][unit] : undefined;
  if (scale === undefined) return null;
  const { factor, offset } = scale;
  if (factor === 1 && offset === 0) return (value) => value;
  // Decimal input stays decimal: 78.8 °F is 26 °C, not 25.999999999999996.
  return (value) => roundBinaryNoise(value * factor + offset);
}

/** Removes the last few bits of binary rounding noise; 12 significant digits exceed any sensor by far. */
function roundBinaryNoise(value: number): number {
  return Number.isFinite(value) ? Number(value.toPrecision(12)) : value;
}

const onWords = new Set(['on', 'true', '1', 'open', 'yes', 'high']);
const offWords = new Set(['off', 'false', '0', 'closed', 'no', 'low']);

/** On/off words to 1 and 0; `null` when the word is neither. */
export function switchValue(text: string): 0 | 1 | null {
  const word = text.trim().toLowerCase();
  return onWords.has(word) ? 1 : offWords.has(word) ? 0 : null;
}

/** `25.43 °C` — a canonical value as people read it. */
/** A nominal volume as people say it: no more than tenths, which a conversion from gallons would otherwise bring along. */
export const showLitres = (litres: number): string => `${Number(litres.toFixed(1))} L`;

export function show(kind: Kind, value: number | null | undefined): string {
  if (value === null || value === undefined || !Number.isFinite(value)) return 'unknown';
  if (kind === 'switch') return value >= 0.5 ? 'on' : 'off';
  const { unit, decimals } = kinds[kind];
  return kind === 'acidity' ? `${unit} ${value.toFixed(decimals)}` : `${value.toFixed(decimals)} ${unit}`;
}
