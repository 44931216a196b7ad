/** Small symmetric positive definite systems, by Cholesky. */

export type Matrix = readonly (readonly number[])[];

/** Inverse of a symmetric positive definite matrix; `null` where it is none, i.e. where the equations do not settle every unknown. */
export function inverseOf(matrix: Matrix): number[][] | null {
  // Scaled to a unit diagonal, so that "next to nothing" has the same meaning for watts per kelvin and for kelvin per hour.
  const scale = matrix.map((row, i) => 1 / Math.sqrt(row[i] ?? Number.NaN));
  if (!scale.every(Number.isFinite)) return null;
  const lower = choleskyOf(matrix.map((row, i) => row.map((value, j) => value * at(scale, i) * at(scale, j))));
  if (lower === null) return null;
  const size = matrix.length;
  const columns = Array.from({ length: size }, (_, j) => solveLower(lower, Array.from({ length: size }, (_none, i) => (i === j ? 1 : 0))));
  return Array.from({ length: size }, (_, i) => Array.from({ length: size }, (_none, j) => (columns[j]?.[i] ?? Number.NaN) * at(scale, i) * at(scale, j)));
}

export function times(matrix: Matrix, vector: readonly number[]): number[] {
  return matrix.map((row) => dot(row, vector));
}

export function dot(a: readonly number[], b: readonly number[]): number {
  return a.reduce((sum, value, i) => sum + value * at(b, i), 0);
}

/** `into` + factor · x xᵀ. */
export function addOuter(into: Matrix, x: readonly number[], factor: number): number[][] {
  return into.map((row, i) => row.map((value, j) => value + factor * at(x, i) * at(x, j)));
}

const SINGULAR = 1e-12;

function choleskyOf(matrix: Matrix): number[][] | null {
  const lower: number[][] = [];
  for (const [i, row] of matrix.entries()) {
    const next: number[] = [];
    for (let j = 0; j <= i; j += 1) {
      const above = j === i ? next : lower[j] ?? [];
      const rest = at(row, j) - next.slice(0, j).reduce((sum, value, k) => sum + value * at(above, k), 0);
      if (j === i && !(rest > SINGULAR)) return null;
      next.push(j === i ? Math.sqrt(rest) : rest / at(above, j));
    }
    lower.push(next);
  }
  return lower;
}

function solveLower(lower: Matrix, b: readonly number[]): number[] {
  const y: number[] = [];
  for (const [i, row] of lower.entries()) y.push((at(b, i) - y.reduce((sum, value, k) => sum + at(row, k) * value, 0)) / at(row, i));
  const x: number[] = new Array<number>(b.length).fill(0);
  for (let i = b.length - 1; i >= 0; i -= 1) {
    let rest = at(y, i);
    for (let k = i + 1; k < b.length; k += 1) rest -= (lower[k]?.[i] ?? Number.NaN) * at(x, k);
    x[i] = rest / (lower[i]?.[i] ?? Number.NaN);
  }
  return x;
}

/** Out of bounds is a mistake of this file's callers: it turns to NaN and is caught by the check for positive pivots. */
const at = (vector: readonly number[], i: number): number => vector[i] ?? Number.NaN;
