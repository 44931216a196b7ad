/** Median of a list; `null` of none. Does not reorder the list. */
export function median(values: readonly number[]): number | null {
  if (values.length === 0) return null;
  const sorted = new Float64Array(values).sort();
  const middle = sorted.length >> 1;
  const upper = sorted[middle];
  const lower = sorted[middle - 1];
  if (upper === undefined) return null;
  return sorted.length % 2 === 1 || lower === undefined ? upper : (lower + upper) / 2;
}

/** The same of a list that is kept in a state, and so never changes: reckoned once for each list, however often a step asks. `null` of none. */
export function keptMedian(values: readonly number[]): number | null {
  const known = medianOf.get(values);
  if (known !== undefined) return known;
  const found = median(values);
  if (found !== null) medianOf.set(values, found);
  return found;
}

const medianOf = new WeakMap<readonly number[], number>();
