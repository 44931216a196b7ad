/** Text from outside, made harmless for one line of a header or a mail. */

/** Control characters, line and paragraph separators, and characters that turn the reading direction. */
const UNSAFE = /[\p{Cc}\u2028\u2029\u202a-\u202e\u2066-\u2069]+/gu;

/** One line: no header can be injected, nothing can pretend to be another line. */
export function oneLine(text: string): string {
  return text.replace(UNSAFE, ' ').replace(/ {2,}/g, ' ').trim();
}

/** At most `maxChars` characters (code points), the cut marked. */
export function cut(text: string, maxChars: number): string {
  const chars = [...text];
  return chars.length <= maxChars ? text : `${chars.slice(0, Math.max(1, maxChars - 1)).join('').trimEnd()}…`;
}

export const charsOf = (text: string): number => [...text].length;
