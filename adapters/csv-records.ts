/**
 * Cuts a CSV stream into records with the line each begins on. A quoted field may hold line breaks (RFC 4180 §2.6), so a line is not
 * always a record; a quote that never closes must not swallow the rest of the file, nor a file without line ends the memory.
 */
import { type CsvInput, type Encoding, decodeText } from './csv-encoding.ts';

export interface CsvRecord {
  /** Line of the file it begins on, from 1. */
  readonly line: number;
  readonly text: string;
  /** Why the line cannot be read, if so: only this line was given up. */
  readonly broken: string | null;
}

/** Whole lines, each with a line feed at its end, no quote and no carriage return in them: what most files are made of. */
export interface PlainText {
  /** Of the first line. */
  readonly line: number;
  readonly text: string;
}

export type CsvPiece = readonly CsvRecord[] | PlainText;

export const isPlain = (piece: CsvPiece): piece is PlainText => 'text' in piece;

/** A quoted field longer than this, or over more lines, is a stray quote. */
const MAX_RECORD_LINES = 50;
const MAX_RECORD_LENGTH = 64 * 1024;
/** No table of readings has longer lines; a file without line ends has. */
const MAX_LINE_LENGTH = 256 * 1024;

const UNCLOSED = 'a quote (") opens in this line and never closes; remove it, or double it within a quoted cell';
const TOO_LONG = `the line is longer than ${MAX_LINE_LENGTH / 1024} thousand characters: this is no table of readings, or its line ends are missing`;

/** The records of the file, one piece for each of the stream: work for a few milliseconds at a time. */
export async function* readPieces(input: CsvInput, encoding: Encoding | undefined): AsyncGenerator<CsvPiece> {
  const cutter = new RecordCutter();
  for await (const text of decodeText(input, encoding)) {
    const piece = cutter.push(text);
    if (isPlain(piece) || piece.length > 0) yield piece;
  }
  const last = cutter.end();
  if (last.length > 0) yield last;
}

/** The same, all of it cut into records. */
export async function* readRecordBlocks(input: CsvInput, encoding: Encoding | undefined): AsyncGenerator<readonly CsvRecord[]> {
  for await (const piece of readPieces(input, encoding)) yield recordsOf(piece);
}

export function recordsOf(piece: CsvPiece): readonly CsvRecord[] {
  if (!isPlain(piece)) return piece;
  return piece.text.slice(0, -1).split('\n').map((text, index) => ({ line: piece.line + index, text, broken: null }));
}

class RecordCutter {
  #rest = '';
  #line = 0;
  #tooLong = false;
  #open: { readonly line: number; readonly lines: string[]; length: number } | null = null;

  push(text: string): CsvPiece {
    const all = this.#rest + text;
    return this.#plain(all) ?? this.#records(all);
  }

  /** @returns `null`, and has done nothing, when a line needs a closer look. */
  #plain(all: string): PlainText | null {
    if (this.#open !== null || this.#tooLong || all.includes('"')) return null;
    const end = all.lastIndexOf('\n') + 1;
    const rest = all.slice(end);
    let text = all.slice(0, end);
    if (all.includes('\r')) {
      text = text.replaceAll('\r\n', '\n');
      if (text.includes('\r') || /\r(?!$)/.test(rest)) return null;
    }
    let lines = 0;
    for (let start = 0; start < text.length; lines += 1) {
      const next = text.indexOf('\n', start) + 1;
      if (next - start > MAX_LINE_LENGTH) return null;
      start = next;
    }
    if (lines === 0 || rest.length > MAX_LINE_LENGTH) return null;
    this.#rest = rest;
    this.#line += lines;
    return { line: this.#line - lines + 1, text };
  }

  #records(all: string): CsvRecord[] {
    const lines = splitLines(all);
    this.#rest = lines.pop() ?? '';
    const records: CsvRecord[] = [];
    for (const line of lines) this.#takeLine(line, records);
    if (this.#rest.length > MAX_LINE_LENGTH) {
      this.#tooLong = true;
      this.#rest = this.#rest.endsWith('\r') ? '\r' : '';
    }
    return records;
  }

  end(): CsvRecord[] {
    const records: CsvRecord[] = [];
    const last = this.#rest.replace(/\r$/, '');
    if (last !== '' || this.#tooLong) this.#takeLine(last, records);
    const open = this.#open;
    if (open === null) return records;
    records.push({ line: open.line, text: open.lines[0] ?? '', broken: UNCLOSED });
    for (const [index, text] of open.lines.slice(1).entries()) records.push({ line: open.line + 1 + index, text, broken: quoteAfter(text, false) === 'open' ? UNCLOSED : null });
    return records;
  }

  #takeLine(text: string, records: CsvRecord[]): void {
    this.#line += 1;
    if (this.#tooLong || text.length > MAX_LINE_LENGTH) {
      this.#tooLong = false;
      records.push({ line: this.#line, text: '', broken: TOO_LONG });
      return;
    }
    // The common case: nothing quoted anywhere.
    if (this.#open === null && !text.includes('"')) {
      records.push({ line: this.#line, text, broken: null });
      return;
    }
    const pending: { readonly line: number; readonly text: string }[] = [{ line: this.#line, text }];
    for (let next = pending.shift(); next !== undefined; next = pending.shift()) {
      const open = this.#open;
      if (open === null) {
        if (quoteAfter(next.text, false) === 'open') this.#open = { line: next.line, lines: [next.text], length: next.text.length };
        else records.push({ ...next, broken: null });
        continue;
      }
      open.lines.push(next.text);
      open.length += next.text.length;
      const state = quoteAfter(next.text, true);
      if (state === 'closed') {
        this.#open = null;
        records.push({ line: open.line, text: open.lines.join('\n'), broken: null });
      } else if (state === 'senseless' || open.lines.length > MAX_RECORD_LINES || open.length > MAX_RECORD_LENGTH) {
        this.#open = null;
        records.push({ line: open.line, text: open.lines[0] ?? '', broken: UNCLOSED });
        // The lines behind it were innocent: look at each again.
        pending.unshift(...open.lines.slice(1).map((again, index) => ({ line: open.line + 1 + index, text: again })));
      }
    }
  }
}

/** Lines without their ends (CRLF, LF or CR); the last entry is the beginning of a line. A carriage return at its end may be half of a CRLF. */
function splitLines(text: string): string[] {
  if (!text.includes('\r')) return text.split('\n');
  const plain = text.replaceAll('\r\n', '\n');
  return plain.includes('\r') ? plain.split(/\n|\r(?!$)/) : plain.split('\n');
}

/**
 * Does a quoted field stand open at the end of the line? A quote within an unquoted field is an inch mark, not an opening. `senseless`: a quote
 * that would close the field has text behind it, so what looked like the rest of a field is a line of its own.
 */
function quoteAfter(text: string, openBefore: boolean): 'open' | 'closed' | 'senseless' {
  if (!text.includes('"')) return openBefore ? 'open' : 'closed';
  let quoted = openBefore;
  let fieldStart = !openBefore;
  for (let i = 0; i < text.length; i++) {
    const char = text[i] ?? '';
    if (quoted) {
      if (char !== '"') continue;
      const next = text[i + 1];
      if (next === '"') i += 1;
      else if (next === undefined || separators.includes(next)) quoted = false;
      else return 'senseless';
    } else if (char === '"' && fieldStart) {
      quoted = true;
      fieldStart = false;
    } else {
      fieldStart = separators.includes(char);
    }
  }
  return quoted ? 'open' : 'closed';
}

const separators = ',;\t|';
