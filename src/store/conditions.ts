/** A WHERE clause out of the parts a query names. */

/** SQL with one `?` per value that follows it. */
export type Condition = readonly [sql: string, ...values: unknown[]];

/** Joins what is there; `false` stands for a part the query leaves out. */
export function conditions(...parts: readonly (Condition | false)[]): { readonly where: string; readonly values: readonly unknown[] } {
  const named = parts.filter((part) => part !== false);
  return {
    where: named.length === 0 ? '' : `WHERE ${named.map(([sql]) => sql).join(' AND ')}`,
    values: named.flatMap(([, ...values]) => values),
  };
}
