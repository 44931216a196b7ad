/** Case-insensitive search for a piece of text. */
import type { Database } from 'better-sqlite3';
import type { Condition } from './conditions.ts';

/** Condition that `column` contains `piece`, which is plain text: `%` and `_` stand for themselves. */
export function textMatcherOn(db: Database): (column: string, piece: string) => Condition {
  db.function('tankbell_folded', { deterministic: true }, (text: unknown) => (typeof text === 'string' ? folded(text) : null));
  return (column, piece) => {
    // LIKE is five times faster than a call back into JavaScript per row, but folds the case of A–Z only.
    if (/^\p{ASCII}*$/u.test(piece)) return [`${column} LIKE ? ESCAPE '\\'`, `%${piece.replace(/[\\%_]/g, '\\$&')}%`];
    return [`instr(tankbell_folded(${column}), ?) > 0`, folded(piece)];
  };
}

const folded = (text: string): string => text.normalize('NFC').toLowerCase();
