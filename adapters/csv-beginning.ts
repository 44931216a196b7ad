/** The beginning of a large file, cut where a line ends: what a person is shown must not wait for half a gigabyte to be read. */
import { type Encoding, markedEncoding } from './csv-encoding.ts';

/**
 * @param most bytes; up to one line less come through. A file that is no longer comes through whole.
 * @param encoding as somebody said; `undefined`: as the byte-order mark says.
 */
export async function* beginningOf(input: AsyncIterable<Uint8Array>, most: number, encoding: Encoding | undefined): AsyncGenerator<Uint8Array> {
  let left = most;
  let found = encoding;
  /** Behind the last line end so far: the end of the part may lie in it, and then it is left out. */
  let held: Uint8Array = new Uint8Array();
  /** What has come through ends with a line. */
  let isLineStart = false;
  for await (const chunk of input) {
    held = held.length === 0 ? chunk : Buffer.concat([held, chunk]);
    // Three bytes are enough to know a mark by.
    if (held.length < 3 && most >= 3) continue;
    found ??= markedEncoding(held) ?? 'utf-8';
    const isFull = held.length > left;
    const fitting = isFull ? held.subarray(0, left) : held;
    const whole = lastLineEnd(fitting, found);
    // Something without line ends must not fill the memory, and is cut anywhere.
    const isEndless: boolean = whole === 0 && (isFull ? !isLineStart : held.length > MOST_HELD);
    const end = isEndless ? fitting.length - (fitting.length % 2) : whole;
    if (end > 0) {
      yield held.subarray(0, end);
      isLineStart = !isEndless;
    }
    if (isFull) return;
    left -= end;
    held = held.subarray(end);
  }
  if (held.length > 0) yield held;
}

/** No line of a table is longer. */
const MOST_HELD = 256 * 1024;

/** @returns one past the last line feed, or carriage return where there is none; 0 where there is neither. */
function lastLineEnd(bytes: Uint8Array, encoding: Encoding): number {
  const isWide = encoding === 'utf-16le' || encoding === 'utf-16be';
  for (const end of [LINE_FEED, CARRIAGE_RETURN]) {
    for (let at = bytes.lastIndexOf(end); at >= 0; at = at === 0 ? -1 : bytes.lastIndexOf(end, at - 1)) {
      if (!isWide) return at + 1;
      // A character is two bytes, from the beginning on; the other byte of a line end is 0.
      const [low, high] = encoding === 'utf-16le' ? [at, at + 1] : [at, at - 1];
      if (bytes[high] === 0 && Math.min(low, high) % 2 === 0) return Math.max(low, high) + 1;
    }
  }
  return 0;
}

const LINE_FEED = 10;
const CARRIAGE_RETURN = 13;
