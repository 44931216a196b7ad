/**
 * Quantities as people write them in the fleet file: a number and its unit, "240 gal", "0.3 K", "30s".
 * Each is a zod type that takes the written text and yields the number in the unit named by the field it fills.
 */
import { z } from 'zod';
import { DAY, parseDuration } from '../domain/duration.ts';
import type { Kind } from '../domain/kinds.ts';
import { converter, unitsOf } from '../domain/units.ts';

export interface QuantityFacts {
  /** `a volume` */
  readonly what: string;
  /** A correct one, for messages: `240 gal`. */
  readonly example: string;
  readonly units: readonly string[];
  convert(unit: string): ((value: number) => number) | null;
  /** Inclusive, in the unit of the result. */
  readonly range: readonly [min: number, max: number];
}

type Read = { readonly value: number } | { readonly problem: string; readonly fix: string };

/** Reads `240 gal`; bounds are inclusive and in the unit of the result. */
export function readQuantity(written: unknown, facts: QuantityFacts): Read {
  const { what, example, units } = facts;
  if (typeof written === 'number') return { problem: `${written} has no unit`, fix: `write the number and its unit (${units.join(', ')}), like "${example}"` };
  if (typeof written !== 'string') return { problem: `this is not ${what}`, fix: `write a number and its unit, like "${example}"` };
  const [, amount, unit] = /^([-+]?\d+(?:[.,]\d+)?)\s*(\D.*)?$/.exec(written.trim()) ?? [];
  if (amount === undefined) return { problem: `"${written}" is not ${what}`, fix: `write a number and its unit, like "${example}"` };
  if (amount.includes(',')) return { problem: `"${written}" has a comma in its number`, fix: `write the decimals behind a point and no commas for thousands: "${amount.replace(',', '.')} ${unit ?? units[0] ?? ''}" or "${amount.replace(',', '')} ${unit ?? units[0] ?? ''}"` };
  if (unit === undefined) return { problem: `"${written}" has no unit`, fix: `write the number and its unit (${units.join(', ')}), like "${example}"` };
  const convert = facts.convert(unit.trim());
  if (convert === null) return { problem: `"${unit.trim()}" is no unit of ${what}`, fix: `write one of: ${units.join(', ')}, like "${example}"` };
  const value = convert(Number(amount));
  const [min, max] = facts.range;
  if (!(value >= min && value <= max)) return { problem: `"${written}" cannot be true here`, fix: `${what} here lies between ${min} and ${max} ${units[0] ?? ''}; write one like "${example}"` };
  return { value };
}

const ofKind = (kind: Kind, what: string, example: string, range: readonly [number, number]): QuantityFacts => ({
  what, example, range, units: unitsOf(kind), convert: (unit) => converter(kind, unit),
});

const differences: Readonly<Record<string, number>> = { K: 1, '°C': 1, C: 1, '°F': 1 / 1.8, F: 1 / 1.8 };

const written = (facts: QuantityFacts) =>
  z.unknown().transform((text, context): number => {
    const read = text === undefined ? missing : readQuantity(text, facts);
    if ('value' in read) return read.value;
    context.addIssue({ code: 'custom', message: read.problem, params: { fix: read.fix } });
    return z.NEVER;
  });

/** An absent key reaches the transform as `undefined`; `findings.ts` words it by the key's name. */
const missing = { problem: '', fix: '' } as const;

export const litres = (example: string, minLitres: number) => written(ofKind('volume', 'a volume', example, [minLitres, 1e7]));
export const millimetres = (example: string) => written(ofKind('level', 'a length', example, [1, 5000]));
export const watts = (example: string) => written(ofKind('power', 'a power', example, [0.1, 1e5]));
/** A temperature of water or air, °C. */
export const celsius = (example: string) => written(ofKind('temperature', 'a temperature', example, [-20, 80]));

/** A difference of temperatures: 0.9 °F is 0.5 K. */
export const kelvin = (example: string) =>
  written({
    what: 'a temperature difference', example, units: ['K', '°C', '°F'], range: [0.01, 20],
    convert(unit) {
      const factor = Object.hasOwn(differences, unit) ? differences[unit] : undefined;
      return factor === undefined ? null : (value) => Number((value * factor).toPrecision(12));
    },
  });

/** A duration, milliseconds: `30s`, `10m`, `1h30m`. */
export const duration = (example: string, minMs: number) =>
  z.unknown().transform((text, context): number => {
    const refuse = (message: string, fix: string): never => {
      context.addIssue({ code: 'custom', message, params: { fix } });
      return z.NEVER;
    };
    if (text === undefined) return refuse(missing.problem, missing.fix);
    if (typeof text === 'number') return refuse(`${text} has no unit of time`, `write "${text}s", "${text}m" or "${text}h"`);
    const ms = typeof text === 'string' ? parseDuration(text.replaceAll(' ', '')) : null;
    if (ms === null) return refuse(typeof text === 'string' ? `"${text}" is no duration` : 'this is no duration', `write a number and s, m, h or d, like "${example}"`);
    if (ms < minMs) return refuse(`"${String(text)}" is too short`, `write at least "${minMs / 1000}s", like "${example}"`);
    if (ms > 366 * DAY) return refuse(`"${String(text)}" is longer than a year`, `write a shorter one, like "${example}"`);
    return ms;
  });

/** Less would forget what the pages of a month are made of, and is more likely a slip: `5m` for five months. */
const SHORTEST_KEPT_DAYS = 30;
const LONGEST_KEPT_YEARS = 100;

/** How long readings are kept, milliseconds: `90d`, `5y`. A year counts 366 days, so that none is ever cut short. */
export const keeping = (example: string) =>
  z.unknown().transform((text, context): number => {
    const refuse = (message: string, fix: string): never => {
      context.addIssue({ code: 'custom', message, params: { fix } });
      return z.NEVER;
    };
    const [, amount, unit] = typeof text === 'string' ? (/^(\d+)\s*(d|y)$/.exec(text.trim()) ?? []) : [];
    if (amount === undefined) return refuse(`"${String(text)}" does not say how long readings are kept`, `write days or years, like "90d" or "${example}", or remove the line: they are kept for ever then`);
    const days = Number(amount) * (unit === 'y' ? 366 : 1);
    if (days < SHORTEST_KEPT_DAYS) return refuse(`"${String(text)}" would forget readings after less than ${SHORTEST_KEPT_DAYS} days`, `write at least "${SHORTEST_KEPT_DAYS}d", like "${example}", or remove the line: they are kept for ever then`);
    if (days > LONGEST_KEPT_YEARS * 366) return refuse(`"${String(text)}" is longer than ${LONGEST_KEPT_YEARS} years`, 'remove the line: readings are kept for ever then');
    return days * DAY;
  });
