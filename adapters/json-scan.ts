/**
 * Walks a JSON text that `JSON.parse` has accepted and reports what it hides: keys that stand twice in one object (the last would
 * win in silence) and the depth. Only run when a cheap look says that it may matter.
 */
export interface JsonScan {
  /** Paths of keys that stand more than once in their object, as reference tokens. */
  readonly doubled: readonly (readonly string[])[];
  readonly depth: number;
}

interface Level {
  /** Keys met so far; `null` for an array. */
  readonly keys: Set<string> | null;
  /** Current key, or index. */
  at: string;
  index: number;
}

export function scanJson(text: string): JsonScan {
  const doubled: string[][] = [];
  const levels: Level[] = [];
  let depth = 0;
  let expectKey = false;
  for (let i = 0; i < text.length; i++) {
    const char = text[i];
    const level = levels.at(-1);
    if (char === '"') {
      const end = stringEnd(text, i);
      if (expectKey && level?.keys) {
        const key = String(JSON.parse(text.slice(i, end)));
        level.at = key;
        if (level.keys.has(key)) doubled.push(levels.map(({ at }) => at));
        level.keys.add(key);
        expectKey = false;
      }
      i = end - 1;
    } else if (char === '{' || char === '[') {
      levels.push({ keys: char === '{' ? new Set() : null, at: '0', index: 0 });
      depth = Math.max(depth, levels.length);
      expectKey = char === '{';
    } else if (char === '}' || char === ']') {
      levels.pop();
      expectKey = false;
    } else if (char === ',' && level) {
      expectKey = level.keys !== null;
      if (level.keys === null) level.at = String(++level.index);
    }
  }
  return { doubled, depth };
}

/** Index behind the closing quote of the string that opens at `start`. */
function stringEnd(text: string, start: number): number {
  let i = start + 1;
  while (i < text.length && text[i] !== '"') i += text[i] === '\\' ? 2 : 1;
  return i + 1;
}

/** An upper bound of the depth: opening brackets, those in strings included. */
export function countOpening(text: string): number {
  let count = 0;
  for (let i = 0; i < text.length; i++) {
    const code = text.charCodeAt(i);
    if (code === 0x7b || code === 0x5b) count++;
  }
  return count;
}
