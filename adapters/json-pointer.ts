/** JSON Pointer, RFC 6901: `/outlets/0/watts`, with `~1` for a slash and `~0` for a tilde in a key. */

/** @returns the reference tokens, or `null` when the text is no pointer. */
export function parsePointer(text: string): readonly string[] | null {
  if (text === '') return [];
  if (!text.startsWith('/') || /~(?![01])/.test(text)) return null;
  // ~1 first, then ~0: so that ~01 is "~1" and not "/" (RFC 6901 §4).
  return text.slice(1).split('/').map((token) => token.replaceAll('~1', '/').replaceAll('~0', '~'));
}

/** @returns the value, or `undefined` when nothing is there. */
export function followPointer(document: unknown, tokens: readonly string[]): unknown {
  let here: unknown = document;
  for (const token of tokens) {
    if (Array.isArray(here)) {
      // No leading zeros, no "-" (RFC 6901 §4): nothing stands behind the end of an array.
      if (!/^(0|[1-9]\d*)$/.test(token)) return undefined;
      here = here[Number(token)];
    } else if (typeof here === 'object' && here !== null) {
      if (!Object.hasOwn(here, token)) return undefined;
      here = (here as Record<string, unknown>)[token];
    } else {
      return undefined;
    }
  }
  return here;
}

export function writePointer(tokens: readonly string[]): string {
  return tokens.map((token) => `/${token.replaceAll('~', '~0').replaceAll('/', '~1')}`).join('');
}
