/** The fast way through plain lines reads what it takes exactly as the long way does, and leaves the rest to it. */
import { describe, expect, it } from 'vitest';
import { type CsvOptions, readCsv } from '../../adapters/csv.ts';
import { Codes, PlainTimes, isPlainReadable, plainNumber } from '../../adapters/csv-plain.ts';
import { parseRfc3339 } from '../../adapters/rfc3339.ts';
import { seededRandom } from '../store/seeded.ts';

const codes = new Codes();
const numberIn = (text: string, mark = '.'): number => plainNumber(codes.of(`;${text};`), 1, 1 + text.length, mark.charCodeAt(0));
const times = new PlainTimes();
const timeIn = (text: string): number => times.read(codes.of(`,${text},`), `,${text},`, 1, 1 + text.length);

describe('plain numbers', () => {
  it('are the double that Number makes of the same text, to the bit', () => {
    const random = seededRandom(1);
    let taken = 0;
    for (let round = 0; round < 200_000; round += 1) {
      const digits = Array.from({ length: 1 + Math.floor(random() * 17) }, () => Math.floor(random() * 10)).join('');
      const at = Math.floor(random() * (digits.length + 1));
      const text = `${random() < 0.3 ? '-' : ''}${digits.slice(0, at)}${random() < 0.8 ? '.' : ''}${digits.slice(at)}`;
      const read = numberIn(text);
      const isPlain = /^-?\d+(\.\d+)?$/.test(text) && digits.length <= 15;
      if (isPlain) taken += 1;
      expect(Object.is(read, isPlain ? Number(text) + 0 : Number.NaN), `${text} was read as ${read}`).toBe(true);
    }
    expect(taken).toBeGreaterThan(100_000);
  });

  it.each(['', '-', '.', '-.', '.5', '5.', '1.2.3', '1e3', '+1', ' 1', '1 ', '1,5', '--1', '1-', '٣', '0x1', '1234567890123456', '1234567890.123456'])('leave "%s" to the long way', (text) => {
    expect(numberIn(text)).toBeNaN();
  });

  it('with a decimal comma where that is the mark; minus zero is zero', () => {
    expect([numberIn('-25,4', ','), numberIn('25.4', ',')]).toEqual([-25.4, Number.NaN]);
    for (const text of ['-0', '-0.00', '0']) expect(Object.is(numberIn(text), 0)).toBe(true);
  });
});

describe('plain times', () => {
  it('are those of RFC 3339, whatever came before', () => {
    const random = seededRandom(2);
    const below = (end: number, width = 2): string => String(Math.floor(random() * end)).padStart(width, '0');
    let taken = 0;
    for (let round = 0; round < 100_000; round += 1) {
      const fraction = Math.floor(random() * 5);
      const text = `${random() < 0.9 ? '20' : '00'}${below(100)}-${below(14)}-${below(33)}T${below(25)}:${below(61)}:${below(62)}${fraction === 0 ? '' : `.${below(10 ** fraction, fraction)}`}Z`;
      const read = timeIn(text);
      const long = parseRfc3339(text);
      // Four decimals and leap seconds are left to the long way.
      if (Number.isNaN(read)) expect(!long.ok || fraction === 4 || text.slice(17, 19) === '60', text).toBe(true);
      else expect(read, text).toBe(long.ok ? long.atMs : 'refused');
      if (!Number.isNaN(read)) taken += 1;
    }
    expect(taken).toBeGreaterThan(50_000);
  });

  it.each(['2026-03-04T15:30:00', '2026-03-04t15:30:00Z', '2026-03-04 15:30:00Z', '2026-03-04T15:30:00.Z', '2026-03-04T15:30:00+00:00', '2026-3-04T15:30:00.0Z', '2026-03-04T15:30:0 Z', '2026-02-29T00:00:00Z', '2026-03-04T15:30:00,5Z', '2026-03-04T24:00:00Z'])('leave %s to the long way', (text) => {
    expect(timeIn('2026-03-04T15:30:00Z')).toBe(Date.UTC(2026, 2, 4, 15, 30));
    expect(timeIn(text)).toBeNaN();
  });
});

/** What a file comes to when it is cut into such pieces. */
async function everything(text: string, pieceLength: number, options: CsvOptions) {
  const pieces = async function* () {
    const bytes = Buffer.from(text);
    for (let at = 0; at < bytes.length; at += pieceLength) yield bytes.subarray(at, at + pieceLength);
  };
  const all = { rows: [] as unknown[], refusals: [] as unknown[], lines: 0, missing: 0, unread: new Map<string, number>(), blocks: 0 };
  for await (const { rows, refusals, lines, missing, unread } of readCsv(pieces(), options)) {
    all.rows.push(...rows);
    all.refusals.push(...refusals);
    all.lines += lines;
    all.missing += missing;
    for (const [label, cells] of unread) all.unread.set(label, (all.unread.get(label) ?? 0) + cells);
    all.blocks += 1;
  }
  return all;
}

describe('a file', () => {
  const cells = {
    time: ['2026-03-04T15:30:00Z', '2026-03-04T15:30:10.250Z', '2026-02-30T00:00:00Z', '2026-03-05T00:00:00+01:00', '2026-03-05 00:00:00', ' 2026-03-04T15:31:00Z', '', 'noon', 'time'],
    value: ['25.4', '-0', '', 'NaN', '25.4 °C', 'on', '25,4', ' 7 ', '1e3', '123456789.12345678', 'x', '-', '3.5.6'],
    series: ['a', 'b', 'Tank ü', ' a', '', 'series'],
    unit: ['', '°C', ' °C', 'F', 'unit'],
  };
  const skipped: CsvOptions['roles'] = new Map([['c', 'skip'], ['unit', 'skip']]);
  const seeds = [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12] as const;

  it.each(seeds)('with all kinds of lines is read the same, wherever it is cut, seed %i', async (seed) => {
    expect(isPlainReadable).toBe(true);
    const random = seededRandom(seed);
    const any = (list: readonly string[]): string => list[Math.floor((random() < 0.6 ? 0.15 : 1) * random() * list.length)] ?? '';
    const isLong = seed % 2 === 0;
    const delimiter = seed % 3 === 0 ? ';' : ',';
    const lineEnd = seed % 4 < 2 ? '\n' : '\r\n';
    const line = (): string => {
      const written = isLong ? [any(cells.time), any(cells.series), any(cells.value), any(cells.unit)] : [any(cells.value), any(cells.time), any(cells.value), any(cells.value)];
      if (random() < 0.05) written.push(random() < 0.5 ? '' : 'more');
      if (random() < 0.03) written.pop();
      if (random() < 0.02) return random() < 0.5 ? '' : header;
      return written.join(delimiter);
    };
    const header = (isLong ? ['time', 'series', 'value', 'unit'] : ['a', 'time', 'b (°C)', 'c']).join(delimiter);
    // Enough plain lines first, so that the header is behind us when the rest comes.
    const opening = Array.from({ length: 80 }, () => (isLong ? ['2026-03-04T15:30:00Z', 'a', '1', ''] : ['1', '2026-03-04T15:30:00Z', '2', '3']).join(delimiter));
    const body = Array.from({ length: 3000 }, line);
    const options: CsvOptions = { timeZone: 'America/Denver', decimalComma: delimiter === ';', ...(seed % 5 === 0 ? { roles: skipped } : {}) };
    const text = [header, ...opening, ...body, ''].join(lineEnd);
    const fast = await everything(text, 4096, options);
    const cutElsewhere = await everything(text, 997, options);
    // Lines that end in a lone carriage return all go the long way.
    const long = await everything([header, ...opening, ...body, ''].join('\r'), 4096, options);
    expect({ ...cutElsewhere, blocks: 0 }).toEqual({ ...fast, blocks: 0 });
    expect({ ...long, blocks: 0 }).toEqual({ ...fast, blocks: 0 });
    expect(fast.rows.length).toBeGreaterThan(500);
    expect(fast.refusals.length).toBeGreaterThan(100);
    expect(fast.blocks).toBeGreaterThan(5);
    expect(fast.unread.size > 0).toBe(seed % 5 === 0);
  });
});
