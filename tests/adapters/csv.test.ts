/** CSV as loggers and spreadsheets write it. Strings of RFC 4180 §2 (check-values §8.4) are named where they stand; the rest is common practice. */
import { Readable } from 'node:stream';
import { describe, expect, it } from 'vitest';
import { CsvFileError, type CsvOptions, type CsvRefusal, type CsvRow, readCsv } from '../../adapters/csv.ts';
import { cellsOf } from '../../adapters/csv-cells.ts';
import type { CsvInput } from '../../adapters/csv-encoding.ts';
import { readRecordBlocks } from '../../adapters/csv-records.ts';

async function read(input: CsvInput, options: CsvOptions = {}) {
  const rows: CsvRow[] = [];
  const refusals: CsvRefusal[] = [];
  for await (const block of readCsv(input, options)) {
    rows.push(...block.rows);
    refusals.push(...block.refusals);
  }
  return { rows, refusals };
}

async function records(text: CsvInput): Promise<string[]> {
  const found: string[] = [];
  for await (const block of readRecordBlocks(text, undefined)) found.push(...block.map((record) => record.text));
  return found;
}

const noon = Date.UTC(2026, 2, 4, 12);
const short = ({ line, pointName, value, unit }: CsvRow) => `${line} ${pointName} ${value} ${unit ?? '-'}`;

describe('records', () => {
  it('cuts as RFC 4180 §2 does', async () => {
    expect(await records('aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n')).toEqual(['aaa,bbb,ccc', 'zzz,yyy,xxx']);
    expect(await records('aaa,bbb,ccc\r\nzzz,yyy,xxx')).toEqual(['aaa,bbb,ccc', 'zzz,yyy,xxx']);
    expect(await records('"aaa","b\r\nbb","ccc"\r\nzzz,yyy,xxx')).toEqual(['"aaa","b\nbb","ccc"', 'zzz,yyy,xxx']);
    expect(await records('"aaa","b""bb","ccc"')).toEqual(['"aaa","b""bb","ccc"']);
  });

  it('keeps the spaces of a field, as RFC 4180 §2.4 says, and takes quotes off', () => {
    expect(cellsOf('aaa, bbb ,ccc', ',')).toEqual(['aaa', ' bbb ', 'ccc']);
    expect(cellsOf('"aaa","b\nbb","ccc"', ',')).toEqual(['aaa', 'b\nbb', 'ccc']);
    expect(cellsOf('"aaa","b""bb","ccc"', ',')).toEqual(['aaa', 'b"bb', 'ccc']);
  });

  it('gives up a file without line ends, not the memory', async () => {
    const endless = Readable.from((function* () {
      yield 'time,t\n';
      for (let n = 0; n < 200; n++) yield 'x'.repeat(64 * 1024);
      yield '\n2026-03-04T12:00:00Z,1\n';
    })());
    const { rows, refusals } = await read(endless);
    expect(rows).toHaveLength(1);
    expect(refusals).toEqual([{ line: 2, reason: expect.stringContaining('line ends are missing') }]);
  });

  it('is not slowed down by a stray quote in every line', async () => {
    const text = `time,t\n${Array.from({ length: 5000 }, (_, n) => `2026-03-04T12:00:00Z,"${n}`).join('\n')}\n`;
    expect((await read(text)).refusals).toHaveLength(5000);
  }, 5000);

  it('does not mind where a stream is cut', async () => {
    const text = '\uFEFFtime,"a\r\nb"\r\n1,2\r\n3,°\r\n';
    const bytes = Buffer.from(text);
    const whole = await records(text);
    for (let size = 1; size < 12; size++) {
      const pieces = Array.from({ length: Math.ceil(bytes.length / size) }, (_, index) => bytes.subarray(index * size, (index + 1) * size));
      expect(await records(Readable.from(pieces))).toEqual(whole);
    }
  });
});

describe('layouts', () => {
  it('reads long files with a unit column', async () => {
    const { rows, refusals } = await read('time,series,value,unit\n2026-03-04T12:00:00Z,display-temperature,25.4,°C\n2026-03-04T12:00:30+00:00,heater-1-power,0,W\n');
    expect(rows).toEqual([
      { line: 2, label: 'display-temperature', pointName: 'display-temperature', atMs: noon, value: 25.4, unit: '°C' },
      { line: 3, label: 'heater-1-power', pointName: 'heater-1-power', atMs: noon + 30_000, value: 0, unit: 'W' },
    ]);
    expect(refusals).toEqual([]);
  });

  it('reads wide files, units in the header, missing cells skipped', async () => {
    const { rows } = await read('Time,"Temp (°F)",heater-1-power (W),Temp (sump),"Room, °C",\r\n2026-03-04T12:00:00Z,78.8,,25,21,\r\n');
    expect(rows.map(short)).toEqual(['2 Temp 78.8 °F', '2 Temp (sump) 25 -', '2 Room 21 °C']);
  });

  it('joins a date column and a time column', async () => {
    const { rows } = await read('date,time,t\n2026-03-04,12:00:00,25\n', { timeZone: 'UTC' });
    expect(rows).toEqual([{ line: 2, label: 't', pointName: 't', atMs: noon, value: 25, unit: null }]);
  });

  it('finds the delimiter, reads decimal commas when told, and keeps words for switches', async () => {
    const { rows } = await read('time;temp (°C);pump\n2026-03-04 12:00;25,4;on\n', { timeZone: 'UTC', decimalComma: true });
    expect(rows.map(short)).toEqual(['2 temp 25.4 °C', '2 pump on -']);
    expect((await read('time\tt\n2026-03-04T12:00:00Z\t1\n')).rows.map(short)).toEqual(['2 t 1 -']);
  });

  it('ignores repeated headers and empty lines, and counts lines of the file', async () => {
    const { rows } = await read('\n\ntime,t\n2026-03-04T12:00:00Z,1\n\ntime,t\n"2026-03-04T12:01:00Z","2"\n');
    expect(rows.map(({ line }) => line)).toEqual([4, 7]);
  });

  it('counts the lines within quoted cells', async () => {
    const { rows } = await read('time,"note\nof two lines",t\n2026-03-04T12:00:00Z,,1\n');
    expect(rows.map(({ line }) => line)).toEqual([3]);
  });
});

describe('refuses a line or a cell and keeps the rest', () => {
  it('with the line and what to write', async () => {
    const text = [
      'time,a,b', '2026-03-04T12:00:00Z,1,2', '2026-03-04T12:01:00Z,"3,5",4', 'yesterday,5,6', '2026-03-04T12:02:00Z,7', '2026-03-04T12:03:00Z,7,8,9',
      ',1,2', '2026-03-04T12:04:00Z,error,10', '2026-02-30T12:04:00Z,1,1', '2026-03-04T12:05:00Z,"11,12', '2026-03-04T12:06:00Z,13,14',
    ].join('\n');
    const { rows, refusals } = await read(text);
    expect(rows.map(short)).toEqual(['2 a 1 -', '2 b 2 -', '3 b 4 -', '8 b 10 -', '11 a 13 -', '11 b 14 -']);
    expect(refusals.map(({ line, reason }) => [line, reason])).toEqual([
      [3, expect.stringContaining('a: "3,5" has a decimal comma')],
      [4, expect.stringContaining('is no time')],
      [5, expect.stringContaining('2 cells, the header 3')],
      [6, expect.stringContaining('4 cells, the header 3')],
      [7, expect.stringContaining('time is missing')],
      [8, expect.stringContaining('says that there is no value')],
      [9, expect.stringContaining('no date or time that exists')],
      [10, expect.stringContaining('never closes')],
    ]);
  });

  it('loses one line to a stray quote in a long file, not the file', async () => {
    const lines = Array.from({ length: 500 }, (_, index) => `${new Date(noon + index * 1000).toISOString()},${index}`);
    lines[100] = `${lines[100]?.split(',')[0]},"100`;
    const { rows, refusals } = await read(['time,t', ...lines].join('\n'));
    expect(rows).toHaveLength(499);
    expect(refusals).toEqual([{ line: 102, reason: expect.stringContaining('never closes') }]);
  });

  it('long files: a value without a series', async () => {
    expect((await read('time,series,value\n2026-03-04T12:00:00Z,,1\n')).refusals).toEqual([{ line: 2, reason: expect.stringContaining('series is missing') }]);
  });
});

describe('times', () => {
  const one = async (time: string, options: CsvOptions = {}) => {
    const { rows, refusals } = await read(`time;t\n${time};1\n`, options);
    return rows[0]?.atMs ?? refusals[0]?.reason;
  };

  it.each<[string, CsvOptions, number]>([
    ['1985-04-12T23:20:50.52Z', {}, 482196050520], // RFC 3339 §5.8
    ['1996-12-19T16:39:57-08:00', {}, 851042397000], // RFC 3339 §5.8
    ['1772625600', { timeFormat: 's' }, noon],
    ['1772625600000', { timeFormat: 'ms' }, noon],
    ['2026-03-04 05:00', { timeZone: 'America/Denver' }, noon],
    ['2026/3/4 05:00:00.250', { timeZone: 'America/Denver' }, noon + 250],
    ['04.03.2026 13:00', { timeZone: 'Europe/Berlin', dateOrder: 'dmy' }, noon],
    ['3/4/26 5:00 AM', { timeZone: 'America/Denver', dateOrder: 'mdy' }, noon],
    ['3/4/2026 12:00:00 PM', { timeZone: 'UTC', dateOrder: 'mdy' }, noon],
    ['3/4/2026 12:00 am', { timeZone: 'UTC', dateOrder: 'mdy' }, noon - 12 * 3_600_000],
  ])('reads %s', async (text, options, expected) => {
    expect(await one(text, options)).toBe(expected);
  });

  it.each<[string, CsvOptions, RegExp]>([
    ['03/04/2026 12:00', { timeZone: 'UTC' }, /set dateOrder: dmy, mdy or ymd$/],
    ['25/04/2026 12:00', { timeZone: 'UTC' }, /set dateOrder.*only be dmy/],
    ['2026-03-04 12:00', {}, /set timeZone: an IANA zone/],
    ['1772625600', {}, /set timeFormat: s, ms .* or spreadsheet/],
  ])('stops and asks for what %s leaves open', async (text, options, message) => {
    const stopped = one(text, options);
    await expect(stopped).rejects.toThrow(CsvFileError);
    await expect(stopped).rejects.toThrow(message);
  });

  // Clocks in Denver go forward on 2026-03-08 at 02:00 and back on 2026-11-01 at 02:00 (US rule since 2007: second Sunday of March, first of November).
  it('refuses the hour that does not exist, and by default the one that happens twice', async () => {
    const timeZone = 'America/Denver';
    expect(await one('2026-03-08 02:30', { timeZone })).toMatch(/does not exist in America\/Denver/);
    expect(await one('2026-03-08 03:00', { timeZone })).toBe(Date.UTC(2026, 2, 8, 9));
    expect(await one('2026-11-01 01:30', { timeZone })).toMatch(/happened twice/);
    expect(await one('2026-11-01 01:30', { timeZone, overlap: 'earlier' })).toBe(Date.UTC(2026, 10, 1, 7, 30));
    expect(await one('2026-11-01 01:30', { timeZone, overlap: 'later' })).toBe(Date.UTC(2026, 10, 1, 8, 30));
  });

  it('reads row after row over both changes as single ones', async () => {
    const timeZone = 'America/Denver';
    for (const [month, day] of [[2, 8], [10, 1]] as const) {
      const times = Array.from({ length: 24 * 12 }, (_, index) => new Date(Date.UTC(2026, month, day, 0, index * 5)).toISOString().slice(0, 16).replace('T', ' '));
      const { rows, refusals } = await read(`time;t\n${times.map((time) => `${time};1`).join('\n')}`, { timeZone });
      expect(refusals).toHaveLength(12);
      const alone = await Promise.all(times.map((time) => one(time, { timeZone })));
      expect(rows.map(({ atMs }) => atMs)).toEqual(alone.filter((answer) => typeof answer === 'number'));
    }
  });
});

describe('files that cannot be read as they are', () => {
  it.each<[string, string | Buffer, RegExp]>([
    ['an empty one', '', /file is empty/],
    ['one without a header', '2026-03-04T12:00:00Z,1\n', /must name the columns/],
    ['one with nothing beside the time', 'time\n2026-03-04T12:00:00Z\n', /no column of values/],
    ['UTF-16 without its mark', Buffer.from('time,t\n', 'utf16le'), /save it as "CSV UTF-8"/],
    ['an 8-bit encoding', Buffer.from('time,Temp (°F)\n', 'latin1'), /set encoding: windows-1252/],
  ])('%s', async (_name, input, message) => {
    await expect(read(typeof input === 'string' ? input : Readable.from([input]))).rejects.toThrow(message);
  });

  it('reads the 8-bit encoding when told', async () => {
    const { rows } = await read(Readable.from([Buffer.from('time,Temp (°F)\n2026-03-04T12:00:00Z,78.8\n', 'latin1')]), { encoding: 'windows-1252' });
    expect(rows.map(short)).toEqual(['2 Temp 78.8 °F']);
  });
});
