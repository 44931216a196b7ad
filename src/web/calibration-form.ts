/** What a person enters to calibrate a point: one or two readings beside what is true, and from when on. */
import { z } from 'zod';
import { fromOffset, fromTwoPoints, type Line } from '../ingest/calibration.ts';
import { words } from './words.ts';

const w = words.calibration;
const decimal = z.string().trim().min(1, w.needNumber).transform((text, check) => {
  const value = Number(text.replace(',', '.').replace('−', '-'));
  if (Number.isFinite(value)) return value;
  check.addIssue({ code: 'custom', message: w.noNumber(text.slice(0, 30)) });
  return z.NEVER;
});
const emptyIsNull = (value: unknown): unknown => (typeof value === 'string' && value.trim() === '' ? null : (value ?? null));
const why = z.string({ error: w.needWhy }).trim().min(1, w.needWhy).max(500);

export const calibrationForm = z.object({
  measured1: decimal, true1: decimal,
  measured2: z.preprocess(emptyIsNull, decimal.nullable()), true2: z.preprocess(emptyIsNull, decimal.nullable()),
  from: z.string().trim().max(40).default(''), why,
}).transform(({ measured1, true1, measured2, true2, from, why: reason }, check): { readonly line: Line; readonly from: string; readonly why: string } => {
  if ((measured2 === null) !== (true2 === null)) {
    check.addIssue({ code: 'custom', message: w.needPair });
    return z.NEVER;
  }
  const line = measured2 === null || true2 === null ? fromOffset(measured1, true1) : fromTwoPoints({ measured: measured1, trueValue: true1 }, { measured: measured2, trueValue: true2 });
  if (!('wrong' in line)) return { line, from, why: reason };
  check.addIssue({ code: 'custom', message: line.wrong });
  return z.NEVER;
});

/** What the page with the effect sends back: exactly what was shown. */
export const calibrationSave = z.object({ slope: decimal, offset: decimal, fromMs: z.coerce.number().int().min(0).max(8.64e15), why });
