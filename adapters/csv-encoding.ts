/** From the bytes of a text file to text: UTF-8, what spreadsheets save as "Unicode text" (UTF-16 with its mark), or the 8-bit encoding when told. */
import { isAscii } from 'node:buffer';

export type CsvInput = string | AsyncIterable<string | Uint8Array>;

export const encodings = ['utf-8', 'utf-16le', 'utf-16be', 'windows-1252'] as const;
export type Encoding = (typeof encodings)[number];

/** What the first bytes say by themselves: a byte-order mark. @returns `null` without one. */
export function markedEncoding(bytes: Uint8Array): Encoding | null {
  const [a, b, c] = bytes;
  if (a === 0xff && b === 0xfe) return 'utf-16le';
  if (a === 0xfe && b === 0xff) return 'utf-16be';
  return a === 0xef && b === 0xbb && c === 0xbf ? 'utf-8' : null;
}

/** @param encoding `undefined`: that of the byte-order mark, else UTF-8. The mark itself is left out. */
export async function* decodeText(input: CsvInput, encoding: Encoding | undefined): AsyncGenerator<string> {
  if (typeof input === 'string') {
    // In slices, so that a large text is not split into lines all at once.
    const start = input.startsWith('\uFEFF') ? 1 : 0;
    for (let at = start; at < input.length; at += 1 << 20) yield input.slice(at, at + (1 << 20));
    return;
  }
  let decoder: TextDecoder | null = null;
  let head: Uint8Array = new Uint8Array();
  let first = true;
  let keepsAscii = false;
  /** The decoder holds no half of a character back. */
  let endsInAscii = false;
  for await (const chunk of input) {
    if (typeof chunk === 'string') {
      yield first && chunk.startsWith('\uFEFF') ? chunk.slice(1) : chunk;
      first &&= chunk === '';
      continue;
    }
    if (decoder !== null) {
      // ASCII behind ASCII is the same in each encoding but UTF-16, and needs no decoding.
      const isAsciiOnly = endsInAscii && isAscii(chunk);
      yield isAsciiOnly ? Buffer.from(chunk.buffer, chunk.byteOffset, chunk.byteLength).toString('latin1') : decoder.decode(chunk, { stream: true });
      endsInAscii = keepsAscii && (chunk.at(-1) ?? 0x80) < 0x80;
      continue;
    }
    head = head.length === 0 ? chunk : Buffer.concat([head, chunk]);
    // Three bytes are enough to know a mark by.
    if (head.length < 3) continue;
    const found = encoding ?? markedEncoding(head) ?? 'utf-8';
    decoder = new TextDecoder(found);
    keepsAscii = found === 'utf-8' || found === 'windows-1252';
    yield decoder.decode(head, { stream: true });
    endsInAscii = keepsAscii && (head.at(-1) ?? 0x80) < 0x80;
  }
  decoder ??= new TextDecoder(encoding ?? markedEncoding(head) ?? 'utf-8');
  yield decoder.decode(head.length < 3 ? head : undefined);
}
