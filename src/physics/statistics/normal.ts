/** Quantiles of the normal and of Student's distribution. */

/** Φ(x), good to 1e-15 for |x| < 7: series of Marsaglia 2004 (J. Statistical Software 11(4); from memory). */
export function normalCdf(x: number): number {
  if (x < -7) return 0;
  if (x > 7) return 1;
  let sum = x;
  let term = x;
  for (let i = 3; Math.abs(term) > 1e-18; i += 2) {
    term *= (x * x) / i;
    sum += term;
  }
  return 0.5 + sum * density(x);
}

/** Φ⁻¹(p). @param p between 1e-10 and 1 − 1e-10; beyond it is held there. */
export function normalQuantile(p: number): number {
  const at = Math.min(1 - 1e-10, Math.max(1e-10, p));
  // Logistic start, then Newton with the second derivative (Halley): each turn triples the digits.
  let x = Math.log(at / (1 - at)) / 1.702;
  for (let turn = 0; turn < 30; turn += 1) {
    const error = (normalCdf(x) - at) / density(x);
    const step = error / (1 + (x * error) / 2);
    x -= step;
    if (Math.abs(step) < 1e-14) break;
  }
  return x;
}

/** Student's t quantile. Exact for 1 and 2 degrees of freedom, otherwise Cornish–Fisher (Abramowitz & Stegun 26.7.5, from memory): within 1 %. */
export function studentQuantile(p: number, degrees: number): number {
  if (!(degrees >= 1)) return Number.POSITIVE_INFINITY;
  if (degrees < 2) return Math.tan(Math.PI * (p - 0.5));
  if (degrees < 3) return (2 * p - 1) / Math.sqrt(2 * p * (1 - p));
  const z = normalQuantile(p);
  const z2 = z * z;
  const first = (z * (z2 + 1)) / 4;
  const second = (z * (5 * z2 ** 2 + 16 * z2 + 3)) / 96;
  const third = (z * (3 * z2 ** 3 + 19 * z2 ** 2 + 17 * z2 - 15)) / 384;
  const fourth = (z * (79 * z2 ** 4 + 776 * z2 ** 3 + 1482 * z2 ** 2 - 1920 * z2 - 945)) / 92_160;
  return z + first / degrees + second / degrees ** 2 + third / degrees ** 3 + fourth / degrees ** 4;
}

const density = (x: number): number => Math.exp((-x * x) / 2) / Math.sqrt(2 * Math.PI);
