/** Horner's scheme; coefficients from the constant upwards. */
export function polynomial(x: number, coefficients: readonly number[]): number {
  return coefficients.reduceRight((sum, coefficient) => sum * x + coefficient, 0);
}
