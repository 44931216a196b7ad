/**
 * The bare formulas of the practical salinity scale of 1978. They check no range: `salinity.ts` does, and is what others use.
 *
 * Source: Fofonoff & Millard 1983, UNESCO Technical Papers in Marine Science 44 ("TP44") pp. 6–12. Temperature IPTS-68, pressure in decibar above
 * the atmosphere (0 in a tank). Valid for −2 ≤ t ≤ 35 °C and 2 ≤ S ≤ 42.
 * Low salinity: Hill, Dauphinee & Woods 1986 (IEEE J. Oceanic Eng. 11, 109–112), form as quoted in the TEOS-10 GSW-C library, which scales it so that it
 * joins PSS-78 at S = 2.
 */
import { polynomial } from './polynomial.ts';
import type { Ipts68 } from './temperature-scale.ts';

/** Salinity coefficients; they sum to 35 and to 0. */
export const a = [0.008, -0.1692, 25.3851, 14.0941, -7.0261, 2.7081] as const;
export const b = [0.0005, -0.0056, -0.0066, -0.0375, 0.0636, -0.0144] as const;
const c = [0.6766097, 2.00564e-2, 1.104259e-4, -6.9698e-7, 1.0031e-9] as const;
const d = [3.426e-2, 4.464e-4, 4.215e-1, -3.107e-3] as const;
const e = [2.07e-5, -6.37e-10, 3.989e-15] as const;
const k = 0.0162;

/** Where the low-salinity extension ends. */
export const LOW_SALINITY = 2;

/** Practical salinity from Rt, the conductivity ratio at this temperature to that of S = 35. Valid for S ≥ 2. */
export function salinityOfRt(rt: number, t68: Ipts68): number {
  const root = Math.sqrt(Math.max(0, rt));
  return polynomial(root, a) + atTemperature(t68) * polynomial(root, b);
}

/** The same with the extension below 2, joined at 2. Continuous and rising from 0; never below 0. */
export function extendedSalinityOfRt(rt: number, t68: Ipts68): number {
  const salinity = salinityOfRt(rt, t68);
  if (salinity >= LOW_SALINITY) return salinity;
  const joined = LOW_SALINITY / hill(rtOfSalinity(LOW_SALINITY, t68), t68);
  return Math.max(0, joined * hill(rt, t68));
}

/** Hill, Dauphinee & Woods 1986, as published: not joined at 2. */
export function hill(rt: number, t68: Ipts68): number {
  const x = 400 * rt;
  const root = Math.sqrt(100 * rt);
  return salinityOfRt(rt, t68) - a[0] / (1 + 1.5 * x + x * x) - (b[0] * atTemperature(t68)) / (1 + root + root ** 2 + root ** 3);
}

/** Rt of a salinity of at least 2; TP44 p. 9: Newton on √Rt from √(S/35). */
export function rtOfSalinity(salinity: number, t68: Ipts68): number {
  let root = Math.sqrt(salinity / 35);
  for (let turn = 0; turn < 20; turn += 1) {
    const slope = derivative(root, a) + atTemperature(t68) * derivative(root, b);
    const step = (salinity - polynomial(root, a) - atTemperature(t68) * polynomial(root, b)) / slope;
    root += step;
    if (Math.abs(step) < 1e-15) break;
  }
  return root * root;
}

/** The inverse of `extendedSalinityOfRt`. */
export function rtOfExtendedSalinity(salinity: number, t68: Ipts68): number {
  if (salinity >= LOW_SALINITY) return rtOfSalinity(salinity, t68);
  let low = 0;
  let high = rtOfSalinity(LOW_SALINITY, t68);
  // Rising over the whole interval: 60 halvings exhaust a double.
  for (let turn = 0; turn < 60; turn += 1) {
    const middle = (low + high) / 2;
    if (extendedSalinityOfRt(middle, t68) < salinity) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}

/** Conductivity of S = 35 at this temperature to that at 15 °C. */
export function rt35(t68: Ipts68): number {
  return polynomial(t68, c);
}

/** Rt from R = C(S,t,p)/C(35,15,0). */
export function rtOfRatio(ratio: number, t68: Ipts68, pressureDbar = 0): number {
  const rp = 1 + (pressureDbar * polynomial(pressureDbar, e)) / (1 + d[0] * t68 + d[1] * t68 * t68 + (d[2] + d[3] * t68) * ratio);
  return ratio / (rt35(t68) * rp);
}

/** R from Rt: TP44 p. 9, eq. 6. */
export function ratioOfRt(rt: number, t68: Ipts68, pressureDbar = 0): number {
  const A = d[2] + d[3] * t68;
  const B = 1 + d[0] * t68 + d[1] * t68 * t68;
  const C = pressureDbar * polynomial(pressureDbar, e);
  const at = rt35(t68) * rt;
  const middle = B - A * at;
  return (Math.sqrt(middle * middle + 4 * at * A * (B + C)) - middle) / (2 * A);
}

const atTemperature = (t68: Ipts68): number => (t68 - 15) / (1 + k * (t68 - 15));

function derivative(x: number, coefficients: readonly number[]): number {
  return polynomial(x, coefficients.slice(1).map((coefficient, index) => coefficient * (index + 1)));
}
