/** Guesses what a person meant to write. */

/** The known word closest to a mistyped one, or `null` when nothing is close enough to be a guess worth making. */
export function nearest(word: string, known: readonly string[]): string | null {
  const plain = plainForm(word);
  let best: string | null = null;
  let bestEdits = Number.POSITIVE_INFINITY;
  for (const candidate of known) {
    const edits = editsBetween(plain, plainForm(candidate));
    if (edits < bestEdits) {
      best = candidate;
      bestEdits = edits;
    }
  }
  return bestEdits <= allowedEdits(plain.length) ? best : null;
}

/** `did you mean "timeZone"? ` when there is a guess, and what is known in any case. */
export function suggest(word: string, known: readonly string[]): string {
  const guess = nearest(word, known);
  return guess === null ? `write one of: ${known.join(', ')}` : `did you mean "${guess}"? Known here: ${known.join(', ')}`;
}

/** `time_zone`, `time-zone` and `timeZone` are one word to a person. */
const plainForm = (word: string): string => word.toLowerCase().replace(/[\s_-]/g, '');

const allowedEdits = (length: number): number => (length <= 2 ? 0 : length <= 3 ? 1 : length <= 6 ? 2 : 3);

/** Insertions, deletions, replacements and swaps of neighbours (optimal string alignment distance). */
function editsBetween(a: string, b: string): number {
  let beforeLast: number[] = [];
  let last = Array.from({ length: b.length + 1 }, (_, column) => column);
  for (let row = 1; row <= a.length; row += 1) {
    const current = [row];
    for (let column = 1; column <= b.length; column += 1) {
      const same = a[row - 1] === b[column - 1];
      let edits = Math.min(at(last, column) + 1, at(current, column - 1) + 1, at(last, column - 1) + (same ? 0 : 1));
      if (row > 1 && column > 1 && a[row - 1] === b[column - 2] && a[row - 2] === b[column - 1]) {
        edits = Math.min(edits, at(beforeLast, column - 2) + 1);
      }
      current.push(edits);
    }
    beforeLast = last;
    last = current;
  }
  return at(last, b.length);
}

const at = (row: readonly number[], column: number): number => row[column] ?? Number.POSITIVE_INFINITY;
