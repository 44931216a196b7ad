/**
 * Cuts a CSV stream into records with the line each begins on. A quoted field may hold line breaks (RFC 4180 §2.6), so a line is not
 * always a record; a quote that never closes must not swallow the rest of the file.
 */

export interface CsvRecord {
  /** Line of the file it begins on, from 1. */
  readonly line: number;
  readonly text: string;
  /** A quote was opened and not closed within the bounds: only this line was given up. */
  readonly unclosed: boolean;
}

export type CsvInput = string | AsyncIterable<string | Uint8Array>;

/** A quoted field longer than this, or over more lines, is a stray quote. */
const MAX_RECORD_LINES = 50;
const MAX_RECORD_LENGTH = 64 * 1024;

export async function* readRecords(input: CsvInput, encoding: string): AsyncGenerator<CsvRecord> {
  let line = 1;
  let open: { readonly line: number; readonly lines: string[]; length: number } | null = null;
  for await (const text of readLines(input, encoding)) {
    const pending: { readonly line: number; readonly text: string }[] = [{ line, text }];
    line += 1;
    for (let next = pending.shift(); next !== undefined; next = pending.shift()) {
      if (open !== null) {
        open.lines.push(next.text);
        open.length += next.text.length;
        const joined: string = open.lines.join('\n');
        if (!opensQuote(joined)) {
          yield { line: open.line, text: joined, unclosed: false };
          open = null;
        } else if (open.lines.length > MAX_RECORD_LINES || open.length > MAX_RECORD_LENGTH) {
          const { line: first, lines } = open;
          open = null;
          yield { line: first, text: lines[0] ?? '', unclosed: true };
          // The lines behind it were innocent: look at each again.
          pending.unshift(...lines.slice(1).map((again, index) => ({ line: first + 1 + index, text: again })));
        }
      } else if (opensQuote(next.text)) {
        open = { line: next.line, lines: [next.text], length: next.text.length };
      } else {
        yield { ...next, unclosed: false };
      }
    }
  }
  if (open === null) return;
  yield { line: open.line, text: open.lines[0] ?? '', unclosed: true };
  for (const [index, text] of open.lines.slice(1).entries()) yield { line: open.line + 1 + index, text, unclosed: opensQuote(text) };
}

/** Does a quoted field stand open at the end of the text? A quote within an unquoted field is an inch mark, not an opening. */
function opensQuote(text: string): boolean {
  if (!text.includes('"')) return false;
  let quoted = false;
  let fieldStart = true;
  for (let i = 0; i < text.length; i++) {
    const char = text[i];
    if (quoted) {
      if (char !== '"') continue;
      if (text[i + 1] === '"') i += 1;
      else quoted = false;
    } else if (char === '"' && fieldStart) {
      quoted = true;
      fieldStart = false;
    } else {
      fieldStart = char === ',' || char === ';' || char === '\t' || char === '\n';
    }
  }
  return quoted;
}

/** Lines without their ends (CRLF, LF or CR), without a byte-order mark. A last empty line is none. */
async function* readLines(input: CsvInput, encoding: string): AsyncGenerator<string> {
  let rest = '';
  let first = true;
  for await (const chunk of decode(input, encoding)) {
    rest += first && chunk.startsWith('\uFEFF') ? chunk.slice(1) : chunk;
    if (chunk !== '') first = false;
    // A carriage return at the very end may be half of a CRLF.
    const lines = rest.split(/\r\n|\n|\r(?!$)/);
    rest = lines.pop() ?? '';
    yield* lines;
  }
  const last = rest.replace(/\r$/, '');
  if (last !== '') yield last;
}

async function* decode(input: CsvInput, encoding: string): AsyncGenerator<string> {
  if (typeof input === 'string') {
    // In slices, so that a large text is not split into lines all at once.
    for (let at = 0; at < input.length; at += 1 << 20) yield input.slice(at, at + (1 << 20));
    return;
  }
  const decoder = new TextDecoder(encoding, { fatal: false });
  for await (const chunk of input) yield typeof chunk === 'string' ? chunk : decoder.decode(chunk, { stream: true });
  yield decoder.decode();
}
