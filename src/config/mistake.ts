/** One thing wrong in a file a person wrote: where it stands, what is wrong, what to write instead. */
export interface Mistake {
  readonly file: string;
  /** Counted from 1. */
  readonly line: number;
  /** Counted from 1, in characters. */
  readonly column: number;
  /** Keys and list places from the top of the document: `clients[0].sites[1].timeZone`. */
  readonly path: string;
  readonly message: string;
  /** What to write instead. */
  readonly fix: string;
}

/** `fleet.yaml:12:9: what is wrong`, and the fix indented under it. */
export function showMistake({ file, line, column, message, fix }: Mistake, weight: 'mistake' | 'warning' = 'mistake'): string {
  return `${file}:${line}:${column}: ${weight === 'warning' ? 'warning: ' : ''}${message}\n    ${fix}`;
}

/** In the order of the file; the same finding at the same place is kept once. */
export function inFileOrder(mistakes: readonly Mistake[]): readonly Mistake[] {
  const seen = new Set<string>();
  return mistakes
    .filter((mistake) => {
      const key = showMistake(mistake);
      if (seen.has(key)) return false;
      seen.add(key);
      return true;
    })
    .sort((a, b) => a.file.localeCompare(b.file) || a.line - b.line || a.column - b.column);
}
