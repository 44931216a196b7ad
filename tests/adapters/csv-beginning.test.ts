/** The beginning of a file: whole lines, in every encoding, wherever the stream is cut. */
import { describe, expect, it } from 'vitest';
import { beginningOf } from '../../adapters/csv-beginning.ts';
import type { Encoding } from '../../adapters/csv-encoding.ts';

async function beginning(bytes: Buffer, most: number, piece: number, encoding?: Encoding): Promise<{ text: Buffer; taken: number }> {
  let taken = 0;
  const pieces = async function* () {
    for (let at = 0; at < bytes.length; at += piece) {
      taken += 1;
      yield bytes.subarray(at, at + piece);
    }
  };
  const parts: Uint8Array[] = [];
  for await (const part of beginningOf(pieces(), most, encoding)) parts.push(part);
  return { text: Buffer.concat(parts), taken };
}

const lines = (end: string): string => Array.from({ length: 50 }, (_, n) => `2026-03-04T15:${String(n).padStart(2, '0')}:00Z;25,${n};Ċ°`).join(end) + end;
const mark = '\uFEFF';

describe('the beginning of a file', () => {
  // "Ċ" is 0A 01 in UTF-16 (little endian), and 01 0A in big endian: no line end.
  it.each([
    ['UTF-8, LF', Buffer.from(lines('\n')), undefined, '\n'],
    ['UTF-8, CRLF', Buffer.from(lines('\r\n')), undefined, '\r\n'],
    ['UTF-8, CR', Buffer.from(lines('\r')), undefined, '\r'],
    ['UTF-16LE with its mark', Buffer.from(mark + lines('\n'), 'utf16le'), undefined, '\n'],
    ['UTF-16BE as said', Buffer.from(mark + lines('\r\n'), 'utf16le').swap16(), 'utf-16be', '\r\n'],
  ] as const)('%s: ends with a line, and no line more would fit', async (_what, bytes, encoding, end) => {
    const decode = (part: Buffer): string => new TextDecoder(encoding ?? (bytes[0] === 0xff ? 'utf-16le' : 'utf-8'), { fatal: true }).decode(part);
    const all = decode(bytes).split(end);
    for (const most of [97, 100, 500, 733, 1000]) {
      const { text } = await beginning(bytes, most, 64, encoding);
      const taken = decode(text).split(end);
      expect(taken.at(-1)).toBe('');
      expect(taken.slice(0, -1)).toEqual(all.slice(0, taken.length - 1));
      expect(text.length).toBeLessThanOrEqual(most);
      const next = (all[taken.length - 1]?.length ?? 0) * (bytes.length / decode(bytes).length) + 8;
      expect(text.length + next).toBeGreaterThan(most);
      for (const piece of [1, 7, 4096]) expect((await beginning(bytes, most, piece, encoding)).text.equals(text)).toBe(true);
    }
  });

  it('a file that fits comes whole, whatever it ends with', async () => {
    const bytes = Buffer.from('time,a\n1,2');
    for (const most of [bytes.length, 1000]) expect((await beginning(bytes, most, 3)).text.equals(bytes)).toBe(true);
    expect((await beginning(Buffer.alloc(0), 10, 3)).text).toHaveLength(0);
  });

  it('what has no line end is cut anyway, and what lies behind is not read', async () => {
    const { text, taken } = await beginning(Buffer.alloc(100_000, 'x'), 1000, 100);
    expect([text.length, taken]).toEqual([1000, 11]);
    expect((await beginning(Buffer.alloc(900_000, 'x'), 800_000, 64 * 1024)).text.length).toBe(800_000);
  });
});
