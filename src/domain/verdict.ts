/** What a rule answers, with what a person needs to check the answer. */
import type { Kind } from './kinds.ts';

export type Verdict =
  | { readonly state: 'clear' }
  | { readonly state: 'unknown'; /** What is missing, as shown to people. */ readonly why: string }
  | {
      readonly state: 'breached';
      /** One sentence with the numbers: `29.1 °C for 6 min, limit 28.0 °C`. */
      readonly summary: string;
      readonly evidence: readonly Evidence[];
      /** On which side the value is off, where it has one: a stopped heater explains `low`, never `high`. */
      readonly side?: Side;
    };

export type Side = 'low' | 'high';

/** One number or fact behind a verdict. */
export interface Evidence {
  readonly label: string;
  /** A number in the canonical unit of `kind`, or a text. */
  readonly value: number | string;
  readonly kind?: Kind;
  /** When it was measured or began. */
  readonly atMs?: number;
}

export const clear: Verdict = { state: 'clear' };
